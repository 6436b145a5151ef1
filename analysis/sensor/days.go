package sensor

import (
	"fmt"
	"math"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
)

// CheckDays looks for what several days show, in ascending order and without
// repeats: registers against readings (one day is enough), a drifting outdoor
// sensor (some weeks), and a clock that does not fit the hours of hot water
// (some days).
func CheckDays(days []siteday.Day, known Known) []Suspicion {
	var found []Suspicion
	heat, isHeat := disagreement(days, heatRegister)
	electricity, isElectricity := disagreement(days, electricityRegister)
	if isHeat {
		found = append(found, heat.suspicion(days, electricity, isElectricity))
	}
	if isElectricity {
		found = append(found, electricity.suspicion(days, heat, isHeat))
	}
	if s, ok := Drift(days); ok {
		found = append(found, s)
	}
	if s, ok := hotWaterClock(days, known.HotWater); ok {
		found = append(found, s)
	}
	return found
}

// register is a counter and what it is held against.
type register struct {
	channel  ingest.Channel
	rate     string // what makes the integral
	of       func(s *siteday.Sums) siteday.Register
	doubtKWh func(s *siteday.Sums) float64 // by which both may differ and be right
}

// Allowed differences (common practice, no source): meters of the same current
// agree within a few percent; heat suffers from the pair of thermometers, with
// all the water that passes, most of all while it only circulates.
const (
	agreeShare      = 0.05
	agreePairK      = 0.12
	perRunS         = 30
	leastRiseKWh    = 3
	sameFactorShare = 0.03
	jPerKWh         = 3.6e6
)

var heatRegister = register{
	channel: ingest.Channel(ingest.HeatRegister), rate: "flow and temperatures",
	of: func(s *siteday.Sums) siteday.Register { return s.HeatRegister },
	doubtKWh: func(s *siteday.Sums) float64 {
		runS := s.RunS()
		if runS == 0 {
			return math.Inf(1)
		}
		movingS := runS + circulatingS(s)
		return agreeShare*math.Abs(s.HeatRegister.IntegralKWh) + agreePairK*s.HeatDoubt.CapacityJPerK*movingS/runS/jPerKWh
	},
}

var electricityRegister = register{
	channel: ingest.Channel(ingest.ElectricityRegister), rate: "the power readings",
	of: func(s *siteday.Sums) siteday.Register { return s.ElectricityRegister },
	doubtKWh: func(s *siteday.Sums) float64 {
		return agreeShare*math.Abs(s.ElectricityRegister.IntegralKWh) + edgesKWh(s)
	},
}

// edgesKWh is what a reading a minute may miss of the starts and stops.
func edgesKWh(s *siteday.Sums) float64 {
	runS := s.RunS()
	if runS == 0 {
		return 0
	}
	runningJ := s.ElectricityJ[operation.Heating] + s.ElectricityJ[operation.HotWater] + s.ElectricityJ[operation.Defrost]
	return float64(len(s.Runs)) * perRunS * runningJ / runS / jPerKWh
}

// differing is a stretch of days at whose end a register disagrees.
type differing struct {
	register             register
	first, last          int // days, both included
	ratio, low, high     float64
	riseKWh, integralKWh float64
	agreedBefore         bool
}

// disagreement finds the last days in a row on which a register disagrees; days
// that say nothing do not interrupt them.
func disagreement(days []siteday.Day, r register) (differing, bool) {
	d := differing{register: r, first: -1}
	for i := range days {
		s := &days[i].Sums
		reg := r.of(s)
		if reg.IntegralKWh == 0 || max(reg.RiseKWh, reg.IntegralKWh) < leastRiseKWh {
			continue
		}
		if math.Abs(reg.RiseKWh-reg.IntegralKWh) <= r.doubtKWh(s) {
			d = differing{register: r, first: -1, agreedBefore: true}
			continue
		}
		if d.first < 0 {
			d.first = i
		}
		d.last = i
	}
	if d.first < 0 {
		return d, false
	}
	d.size(days)
	return d, true
}

// size compares the energies, leaving out the day of the onset where there is
// another.
func (d *differing) size(days []siteday.Day) {
	first := d.first
	if d.agreedBefore && d.last > first {
		first++
	}
	d.low, d.high = math.Inf(1), math.Inf(-1)
	for i := first; i <= d.last; i++ {
		reg := d.register.of(&days[i].Sums)
		if reg.IntegralKWh == 0 {
			continue
		}
		d.riseKWh, d.integralKWh = d.riseKWh+reg.RiseKWh, d.integralKWh+reg.IntegralKWh
		doubt := d.register.doubtKWh(&days[i].Sums) / reg.IntegralKWh
		d.low, d.high = min(d.low, reg.RiseKWh/reg.IntegralKWh-doubt), max(d.high, reg.RiseKWh/reg.IntegralKWh+doubt)
	}
	d.ratio = d.riseKWh / d.integralKWh
}

func (d *differing) suspicion(days []siteday.Day, other differing, isOther bool) Suspicion {
	s := Suspicion{
		Kind: RegisterDisagrees, Channels: []ingest.Channel{d.register.channel},
		Since: days[d.first].From, Until: days[d.last].To, Size: d.ratio, Low: d.low, High: d.high, Unit: "times",
	}
	since := "from the first day on"
	if d.agreedBefore {
		since = "since " + days[d.first].Date
	}
	s.Detail = fmt.Sprintf("%s rose %.1f kWh where %s make %.1f kWh (%.3g times, %s)",
		d.register.channel, d.riseKWh, d.register.rate, d.integralKWh, d.ratio, since)
	same := isOther && math.Abs(math.Log(d.ratio/other.ratio)) < sameFactorShare
	switch unit, ok := unitBehind(d.ratio); {
	case ok && (d.last > d.first || !d.agreedBefore): // a day of onset shows part of it
		s.Detail += ": " + unit
	case same:
		s.Detail += fmt.Sprintf("; %s is off by the same, so look for a pulse value or a scale that both share", other.register.channel)
	default:
		s.Detail += ": check its unit and pulse value, what it covers, and the sensors' positions; a spot check against a third meter tells which is right"
	}
	s.Effect = d.effect(other, isOther)
	return s
}

// effect of the register being the one that is wrong, since it is what energies
// are scaled to.
func (d *differing) effect(other differing, isOther bool) *Effect {
	heat, electricity := d.ratio, 1.0
	if isOther {
		electricity = other.ratio
	}
	if d.register.channel == electricityRegister.channel {
		heat, electricity = electricity, heat
	}
	if heat <= 0 || electricity <= 0 {
		return nil
	}
	return timesEffect(heat, electricity)
}

// unitBehind names a unit that a factor looks like.
func unitBehind(ratio float64) (string, bool) {
	for _, u := range []struct {
		factor float64
		words  string
	}{
		{1000, "it looks like Wh taken for kWh, or kW for W"}, {1 / 1000.0, "it looks like MWh taken for kWh, or W for kW"},
		{3.6, "it looks like MJ taken for kWh"}, {60, "the flow rate looks like l/min taken for l/h"},
		{1 / 60.0, "the flow rate looks like l/h taken for l/min"},
	} {
		if math.Abs(ratio/u.factor-1) < 2*agreeShare {
			return u.words, true
		}
	}
	return "", false
}

const (
	// Starts of hot water: so many, most outside its hours as they are, nearly
	// all inside with the clock set.
	leastStarts                = 8
	outsideShare, insideShare  = 0.5, 0.9
	earlyH, delayedH           = 0.1, 0.6 // what a start may lie before its hours, or after
	shiftStepH, greatestShiftH = 0.25, 6.0
)

// hotWaterClock looks for a shift of the clock that brings the starts of hot
// water into the hours in which they may be.
func hotWaterClock(days []siteday.Day, hours []Hours) (Suspicion, bool) {
	starts := hotWaterStarts(days)
	if len(hours) == 0 || len(starts) < leastStarts || within(starts, hours, 0) > outsideShare {
		return Suspicion{}, false
	}
	for shiftH := shiftStepH; shiftH <= greatestShiftH; shiftH += shiftStepH {
		for _, h := range []float64{shiftH, -shiftH} {
			if within(starts, hours, h) >= insideShare {
				low, high := h, h
				for within(starts, hours, high+shiftStepH) >= insideShare && high < greatestShiftH {
					high += shiftStepH
				}
				for within(starts, hours, low-shiftStepH) >= insideShare && low > -greatestShiftH {
					low -= shiftStepH
				}
				return hotWaterOff(days, len(starts), low, high), true
			}
		}
	}
	return Suspicion{}, false
}

func hotWaterOff(days []siteday.Day, starts int, lowH, highH float64) Suspicion {
	h := (lowH + highH) / 2
	return Suspicion{
		Kind: ClockOffset, Since: days[0].From, Until: days[len(days)-1].To, Size: h, Low: lowH, High: highH, Unit: "h",
		Detail: fmt.Sprintf("%d charges of the cylinder began outside the hours on record, and would be inside with a clock that is %s: set the publisher's clock or the record's hours",
			starts, aheadOrBehind(h)),
	}
}

// hotWaterStarts are the local hours at which charging began.
func hotWaterStarts(days []siteday.Day) []float64 {
	var starts []float64
	for i := range days {
		for _, h := range days[i].Sums.HotWater {
			if !h.OpenBefore {
				starts = append(starts, localHour(h.From.In(days[i].From.Location())))
			}
		}
	}
	return starts
}

func localHour(at time.Time) float64 {
	return float64(at.Hour()) + float64(at.Minute())/60
}

// within is the share of starts inside the hours if the clock is ahead.
func within(starts []float64, hours []Hours, aheadH float64) float64 {
	n := 0
	for _, h := range starts {
		at := math.Mod(h-aheadH+48, 24)
		for _, span := range hours {
			if inside(at, span) || inside(at+24, span) {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(starts))
}

func inside(atH float64, span Hours) bool {
	toH := span.ToH
	if toH <= span.FromH {
		toH += 24
	}
	return atH >= span.FromH-earlyH && atH <= toH+delayedH
}

package season

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"coldweek/analysis/operation"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Fewer days or degree days tell nothing of a period (common practice, no source).
const (
	fewestUsableDays = 7
	fewestDegreeDays = 20
	usableShare      = 0.9
)

// normal95 is how many standard errors to each side hold 95 %.
var normal95 = distuv.UnitNormal.Quantile(0.975)

// Period is what a span of days took and what weather it had. Heat, electricity
// and degree days are of the same time: that in which heat, electricity and
// outdoor temperature were known, on days that have it for nine tenths.
type Period struct {
	Days                int      `json:"days"`
	OutdoorC            *float64 `json:"outdoor_c"` // mean
	DegreeDays          float64  `json:"degree_days"`
	SpaceKWh            float64  `json:"space_kwh"`
	SpaceElectricityKWh float64  `json:"space_electricity_kwh"` // with defrosts, without standby
	KWhPerDegreeDay     *float64 `json:"kwh_per_degree_day"`
	SPF                 *float64 `json:"spf"` // of space heating

	days   []dayHeat
	usable []siteday.Day
}

// dayHeat is one day's heat and degree days.
type dayHeat struct{ heatJ, degreeDays float64 }

// Comparison holds one period against another of the same site, their weather
// taken out. Changes are ratios less one; nil is not known.
type Comparison struct {
	BaseC   float64 `json:"base_c"`
	OwnBase bool    `json:"own_base"` // fitted of the site, else the customary one
	This    Period  `json:"this"`
	Against Period  `json:"against"`
	// HeatChange is of the heat for each degree day: the house and its use.
	HeatChange *Interval `json:"heat_change"`
	// ExpectedKWh is the heat this period had taken at the other's per degree day.
	ExpectedKWh *float64 `json:"expected_kwh"`
	// ElectricityChange is of the electricity for the same heat at the same
	// outdoor temperatures: the plant. Defrosts are left out, for air of one
	// temperature frosts more or less with its humidity.
	ElectricityChange *Interval `json:"electricity_change"`
	Cautions          []string  `json:"cautions"`
}

// Compare uses the site's own base when it is known, else the UK's.
func Compare(this, against []siteday.Day, ownBaseC *float64) Comparison {
	c := Comparison{BaseC: UKBaseC, OwnBase: ownBaseC != nil, Cautions: []string{}}
	if ownBaseC != nil {
		c.BaseC = *ownBaseC
	}
	c.This, c.Against = periodOf(this, c.BaseC), periodOf(against, c.BaseC)
	c.caution()
	if c.This.enough() && c.Against.enough() {
		c.compareHeat()
		c.comparePlant()
	}
	return c
}

func (c *Comparison) compareHeat() {
	per, perBefore := *c.This.KWhPerDegreeDay, *c.Against.KWhPerDegreeDay
	c.ExpectedKWh = new(perBefore * c.This.DegreeDays)
	half := normal95 * math.Hypot(relativeError(c.This.days), relativeError(c.Against.days))
	c.HeatChange = new(change(per/perBefore, half))
}

// comparePlant asks what electricity the other period's efficiency had taken for
// this one's heat, at the outdoor temperatures that both saw.
func (c *Comparison) comparePlant() {
	ratio := logElectricityRatio(c.This.usable, c.Against.usable)
	if math.IsNaN(ratio) {
		c.Cautions = append(c.Cautions, "the plant heated at other outdoor temperatures: its efficiency cannot be compared")
		return
	}
	half, ok := jackknife(c.This.usable, func(days []siteday.Day) float64 { return logElectricityRatio(days, c.Against.usable) })
	halfBefore, okBefore := jackknife(c.Against.usable, func(days []siteday.Day) float64 { return logElectricityRatio(c.This.usable, days) })
	if ok && okBefore {
		c.ElectricityChange = new(change(math.Exp(ratio), math.Hypot(half, halfBefore)))
	}
}

// change is a ratio less one; half is half the interval of its logarithm.
func change(ratio, half float64) Interval {
	return Interval{Value: ratio - 1, Low: ratio*math.Exp(-half) - 1, High: ratio*math.Exp(half) - 1}
}

// commonShare of the heat must lie where both periods saw the plant heat.
const commonShare = 0.5

// logElectricityRatio is of what was taken by what the others' efficiency had
// taken; NaN where there is too little in common.
func logElectricityRatio(days, others []siteday.Day) float64 {
	p, ok := PerformanceOf(days)
	before, okBefore := PerformanceOf(others)
	if !ok || !okBefore {
		return math.NaN()
	}
	tookJ, hadTakenJ, commonJ, allJ := 0.0, 0.0, 0.0, 0.0
	for _, binC := range sortedKeys(p.bins) {
		h := p.bins[binC]
		allJ += h.plainHeatJ
		if then := before.bins[binC]; h.plainHeatJ > 0 && then.seen() {
			commonJ += h.plainHeatJ
			tookJ += h.plainJ
			hadTakenJ += h.plainHeatJ * then.plainJ / then.plainHeatJ
		}
	}
	if commonJ < commonShare*allJ || tookJ <= 0 || hadTakenJ <= 0 {
		return math.NaN()
	}
	return math.Log(tookJ / hadTakenJ)
}

func (c *Comparison) caution() {
	say := func(format string, args ...any) { c.Cautions = append(c.Cautions, fmt.Sprintf(format, args...)) }
	for _, p := range []struct {
		name string
		of   *Period
	}{{"the period", &c.This}, {"the other period", &c.Against}} {
		if !p.of.enough() {
			say("%s has %d days with readings enough and %.0f degree days: %d and %d are needed", p.name, p.of.Days, p.of.DegreeDays, fewestUsableDays, fewestDegreeDays)
		}
	}
	if !c.OwnBase {
		say("the base of %g °C is the customary one: the site's own is not known, and a wrong base shows as a change when the weather differs much", c.BaseC)
	}
	if c.This.OutdoorC != nil && c.Against.OutdoorC != nil && math.Abs(*c.This.OutdoorC-*c.Against.OutdoorC) > 5 {
		say("the weather differs by more than 5 K on average: sun, wind and use of the house are not taken out by degree days")
	}
}

func periodOf(days []siteday.Day, baseC float64) Period {
	var p Period
	var outdoor siteday.Mean
	electricityJ, heatJ := 0.0, 0.0
	for i := range days {
		s := &days[i].Sums
		if s.CoveredS < usableShare*s.SpanS || s.Outdoor.S < usableShare*s.SpanS {
			continue
		}
		p.usable = append(p.usable, days[i])
		d := dayHeat{}
		for _, h := range s.Hours {
			if c, known := h.Outdoor.Of(); known {
				d.heatJ += h.SpaceJ
				d.degreeDays += max(0, baseC-c) * h.CoveredS / (hoursPerDay * secondsPerHour)
			}
		}
		p.days = append(p.days, d)
		heatJ += d.heatJ
		p.DegreeDays += d.degreeDays
		electricityJ += s.ElectricityJ[operation.Heating] + s.ElectricityJ[operation.Defrost]
		outdoor.ValueS += s.Outdoor.ValueS
		outdoor.S += s.Outdoor.S
	}
	p.Days, p.SpaceKWh, p.SpaceElectricityKWh = len(p.days), heatJ/joulePerKWh, electricityJ/joulePerKWh
	if c, known := outdoor.Of(); known {
		p.OutdoorC = &c
	}
	if p.DegreeDays > 0 {
		p.KWhPerDegreeDay = new(p.SpaceKWh / p.DegreeDays)
	}
	if electricityJ > 0 && heatJ > 0 {
		p.SPF = new(heatJ / electricityJ)
	}
	return p
}

func (p *Period) enough() bool {
	return p.Days >= fewestUsableDays && p.DegreeDays >= fewestDegreeDays && p.SpaceKWh > 0
}

// relativeError is the standard error of the heat for each degree day, by what
// the days leave of it, days that follow one another taken to be alike.
func relativeError(days []dayHeat) float64 {
	heatJ, degreeDays := 0.0, 0.0
	for _, d := range days {
		heatJ, degreeDays = heatJ+d.heatJ, degreeDays+d.degreeDays
	}
	per := heatJ / degreeDays
	rests, squares := make([]float64, len(days)), 0.0
	for i, d := range days {
		rests[i] = d.heatJ - per*d.degreeDays
		squares += rests[i] * rests[i]
	}
	n := float64(len(days))
	rho, _ := robust.Autocorrelation(rests)
	inflation := n / robust.EffectiveSize(len(days), rho)
	return math.Sqrt(n/(n-1)*squares*inflation) / heatJ
}

func sortedKeys[V any](m map[int]V) []int { return slices.Sorted(maps.Keys(m)) }

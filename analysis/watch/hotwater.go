package watch

import (
	"fmt"
	"math"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// A charging of longChargeS at less than weakShare of the rated heat is slow; with
	// no rated heat, one of endlessChargeS (common practice, no source).
	longChargeS, weakShare, endlessChargeS = 80 * 60, 0.4, 2 * 3600
	// At the rated heat, a coil needs water some 5 K warmer than the cylinder; one that
	// needs poorCoilK passes too little, whatever time it takes (common practice, no
	// source). It is told from the last coilSlots of a charging.
	poorCoilK, coilSlots = 15, 3
	farWarmerK           = 7
	// One of notShortS is slow that gives less than slowerShare of the heat of those
	// before, of which there must be usualCharges.
	notShortS, slowerShare, usualCharges = 40 * 60, 0.6, 6
	// overTargetK above the target, or a flow as much warmer than usual, is a run for
	// hygiene, which is long and slow by nature.
	overTargetK = 4
	// shortOfK below its target at the end of a charging a cylinder is not full, at
	// nearlyK it is: sensor, switching difference and draw-off (common practice, no source).
	shortOfK, nearlyK = 2.5, 1.5
	// risenK the cylinder must have been warmed to have been charged, and briefS are too
	// short to tell a good one.
	risenK, briefS = 3, 15 * 60
	// betweenCharges: findings that lie closer are one.
	betweenCharges = 30 * time.Hour
	// settlesFor after a charging the sensor still rises.
	settlesFor = 20 * time.Minute
	// slowCharges and shortCharges more than good ones open the findings, as many good
	// ones more close them.
	slowCharges, shortCharges = 2, 2
)

const hotWaterCaution = "Hot water scalds from 50 °C on, and lukewarm cylinders breed legionella: keep the temperatures that local rules ask for."

// charging is one charging of the cylinder, seen from its beginning to its end.
type charging struct {
	siteday.HotWater
	lengthS   float64
	heatW     float64  // mean; NaN where it is not known
	coilWPerK float64  // heat by how much warmer the water is than the cylinder, at the end; NaN
	coilK     float64  // the latter
	highC     *float64 // of the cylinder, soon after it at the latest; nil is not known
	seen      bool     // in the slots
	heating   bool     // the cylinder did not get warmer: it was none
}

// chargings are those of the days that are over.
func (c *Case) chargings() []charging {
	events := c.Events()
	var all []charging
	for _, hw := range events.HotWater {
		if hw.OpenBefore || hw.OpenAfter || events.GapWithin(hw.From, hw.To) || hw.To.Add(SlotLength).After(c.dataUntil()) {
			continue
		}
		one := charging{HotWater: hw, lengthS: hw.To.Sub(hw.From).Seconds(), heatW: math.NaN(), coilWPerK: math.NaN(), coilK: math.NaN()}
		if hw.HeatJ > 0 && one.lengthS > 0 {
			one.heatW = hw.HeatJ / one.lengthS
		}
		if !hw.From.Before(c.SlotsFrom()) {
			c.look(&one)
		}
		all = append(all, one)
	}
	return all
}

// look adds what the slots tell of a charging.
func (c *Case) look(one *charging) {
	one.seen = true
	one.coilWPerK, one.coilK = c.coilOf(one.From, one.To)
	lowC, highC := c.cylinderBetween(one.From, one.To.Add(settlesFor))
	one.heating = highC-lowC < risenK
	if highC-lowC >= risenK && one.To.Add(settlesFor).Before(c.dataUntil()) {
		one.highC = &highC
	}
}

// cylinderBetween is the lowest and highest temperature of the cylinder in a time,
// NaN where the slots do not tell.
func (c *Case) cylinderBetween(from, to time.Time) (lowC, highC float64) {
	lowC, highC = math.NaN(), math.NaN()
	for i := c.slotAt(from); i < len(c.Slots) && c.Slots[i].From.Before(to); i++ {
		if cylinderC, ok := c.Slots[i].Cylinder.Of(); ok {
			if !(lowC <= cylinderC) {
				lowC = cylinderC
			}
			if !(highC >= cylinderC) {
				highC = cylinderC
			}
		}
	}
	return lowC, highC
}

// coilOf is what the coil passed at the end of a charging, for each kelvin that the
// water was warmer than the cylinder, and those kelvins.
func (c *Case) coilOf(from, to time.Time) (coilWPerK, warmerK float64) {
	var flow, ret, cylinder siteday.Mean
	var took siteday.Stretch
	for i := c.slotAt(to) - 1; i >= 0 && c.Slots[i].From.After(to.Add(-(coilSlots+1)*SlotLength)) && !c.Slots[i].From.Before(from); i-- {
		if s := &c.Slots[i]; s.SecondsS[operation.HotWater] > 0.9*SlotLength.Seconds() {
			flow, ret, cylinder, took = flow.Plus(s.Flow), ret.Plus(s.Return), cylinder.Plus(s.Cylinder), took.Plus(s.Took)
		}
	}
	flowC, flowKnown := flow.Of()
	returnC, returnKnown := ret.Of()
	cylinderC, cylinderKnown := cylinder.Of()
	warmerK = (flowC+returnC)/2 - cylinderC
	if !flowKnown || !returnKnown || !cylinderKnown || took.HeatJ <= 0 || warmerK <= 0 {
		return math.NaN(), math.NaN()
	}
	return took.HeatJ / took.S / warmerK, warmerK
}

// slotAt is the slot that holds a time.
func (c *Case) slotAt(at time.Time) int {
	return min(max(int(at.Sub(c.SlotsFrom())/SlotLength), 0), len(c.Slots))
}

// hotWaterSlow tells of chargings that take long for what they give.
func hotWaterSlow(c *Case) []Finding {
	all := c.chargings()
	pieces := make([]Piece, len(all))
	for i := range all {
		pieces[i] = Piece{From: all[i].From, To: all[i].To, S: 1, Sign: c.slowSign(all, i)}
	}
	var found []Finding
	for _, e := range bridge(Hold{slowCharges, slowCharges}.Episodes(pieces), betweenCharges, c.dataUntil()) {
		found = append(found, slowFinding(all, pieces, e))
	}
	return found
}

// slowSign says whether a charging was slow, by the machine and by those before it.
func (c *Case) slowSign(all []charging, i int) Sign {
	one := &all[i]
	usualW, usualC := usualOf(all[:i])
	ratedW := c.Limits.Sensors.RatedHeatW
	switch {
	case one.heating, math.IsNaN(one.heatW), c.forHygiene(all, i, usualC):
		return Unclear
	case one.lengthS >= longChargeS && ratedW > 0 && one.heatW < weakShare*ratedW,
		one.lengthS >= endlessChargeS && ratedW == 0,
		one.coilWPerK*poorCoilK < ratedW,
		one.lengthS >= notShortS && one.heatW < slowerShare*usualW:
		return Bad
	case !one.seen, one.lengthS < briefS:
		return Unclear // its coil is not known
	}
	return Clear
}

// forHygiene says whether a charging went beyond the target of every day, or, where
// that is not known, was the only one whose flow was warmer than usual.
func (c *Case) forHygiene(all []charging, i int, usualC float64) bool {
	one, targetC := &all[i], c.Limits.HotWaterTargetC
	if targetC != nil && one.highC != nil {
		return *one.highC > *targetC+overTargetK
	}
	return one.PeakFlowC > usualC+overTargetK && (i == 0 || all[i-1].PeakFlowC <= usualC+overTargetK)
}

// usualOf is the heat and the peak flow temperature of the first chargings, by
// their medians; NaN of too few.
func usualOf(before []charging) (heatW, peakC float64) {
	var heats, peaks []float64
	for i := range before {
		if one := &before[i]; one.lengthS >= notShortS/4 && !math.IsNaN(one.heatW) && len(heats) < 4*usualCharges {
			heats, peaks = append(heats, one.heatW), append(peaks, one.PeakFlowC)
		}
	}
	if len(heats) < usualCharges {
		return math.NaN(), math.NaN()
	}
	return median(heats), median(peaks)
}

func slowFinding(all []charging, pieces []Piece, e Episode) Finding {
	var minutes, heatsW, peaksC, coilK []float64
	for i := e.First; i < e.Last; i++ {
		if pieces[i].Sign == Bad {
			minutes, heatsW, peaksC = append(minutes, all[i].lengthS/60), append(heatsW, all[i].heatW), append(peaksC, all[i].PeakFlowC)
			if !math.IsNaN(all[i].coilK) {
				coilK = append(coilK, all[i].coilK)
			}
		}
	}
	f := Finding{
		Kind: "hot_water_slow", Severity: Attention, Since: e.Since, Until: e.Until,
		Title: fmt.Sprintf("Charging the hot water takes %.0f minutes, at %.1f kW", median(minutes), median(heatsW)/1000),
		Evidence: []Figure{{"charging_minutes", median(minutes), "min", 0}, {"heat_kw", median(heatsW) / 1000, "kW", 1},
			{"peak_flow_c", median(peaksC), "°C", 1}, {"chargings", float64(len(minutes)), "", 0}},
		Causes: []string{
			"a machine that gives less than it should",
			"a diverter valve that leaks into the heating",
			"a limit of output or a quiet mode for hot water",
		},
		Next: []string{
			"compare the heat output with the data sheet at this outdoor and flow temperature",
			"feel whether the heating pipes get warm while the cylinder is charged",
			"see whether a limit or a quiet mode is set, and read the fault memory",
		},
		Caution: hotWaterCaution,
	}
	if len(coilK) > 0 {
		f.Title += fmt.Sprintf(", with water %.0f K warmer than the cylinder", median(coilK))
		f.coilFirst(median(coilK))
		f.Evidence = append(f.Evidence, Figure{"water_over_cylinder_k", median(coilK), "K", 1})
	}
	if usualW, _ := usualOf(all[:e.First]); !math.IsNaN(usualW) {
		f.Evidence = append(f.Evidence, Figure{"usual_heat_kw", usualW / 1000, "kW", 1})
	}
	return f
}

// coilFirst puts the coil before the machine where the water is much warmer than
// the cylinder.
func (f *Finding) coilFirst(warmerK float64) {
	if warmerK < farWarmerK {
		return
	}
	f.Causes = append([]string{
		"scale or sludge on the cylinder's coil, or a coil too small for the machine",
		"too little flow through the coil: air, a strainer, a valve that does not open fully",
	}, f.Causes...)
	f.Next = append([]string{
		"compare the flow rate during charging with that of heating; bleed the coil and clean the strainer",
		"have the coil descaled if the flow is right",
	}, f.Next...)
}

// hotWaterShort tells of chargings that end below the target.
func hotWaterShort(c *Case) []Finding {
	targetC := c.Limits.HotWaterTargetC
	if targetC == nil {
		return nil
	}
	all := c.chargings()
	pieces := make([]Piece, len(all))
	for i := range all {
		pieces[i] = Piece{From: all[i].From, To: all[i].To, S: 1}
		switch highC := all[i].highC; {
		case highC == nil:
		case *highC < *targetC-shortOfK:
			pieces[i].Sign = Bad
		case *highC >= *targetC-nearlyK:
			pieces[i].Sign = Clear
		}
	}
	var found []Finding
	for _, e := range bridge(Hold{shortCharges, shortCharges}.Episodes(pieces), betweenCharges, c.dataUntil()) {
		found = append(found, shortFinding(all, pieces, e, *targetC))
	}
	return found
}

func shortFinding(all []charging, pieces []Piece, e Episode, targetC float64) Finding {
	var highsC, peaksC []float64
	for i := e.First; i < e.Last; i++ {
		if pieces[i].Sign == Bad {
			highsC, peaksC = append(highsC, *all[i].highC), append(peaksC, all[i].PeakFlowC)
		}
	}
	return Finding{
		Kind: "hot_water_short", Severity: Attention, Since: e.Since, Until: e.Until,
		Title: fmt.Sprintf("The hot water gets to %.0f °C only, its target is %.0f °C", median(highsC), targetC),
		Evidence: []Figure{{"cylinder_high_c", median(highsC), "°C", 1}, {"target_c", targetC, "°C", 0}, {"peak_flow_c", median(peaksC), "°C", 1},
			{"chargings", float64(len(highsC)), "", 0}},
		Causes: []string{
			"another target is set in the controller than in the record",
			"the machine stops at its highest flow temperature or pressure: a coil that passes too little, or little flow",
			"chargings end by their time limit or timer",
			"the sensor sits low, or without contact",
		},
		Next: []string{
			"read the target, the time limit and the timer in the controller",
			"see at what flow temperature the machine stops, and its messages",
			"hold a thermometer to the hot tap after a charging",
		},
		Caution: hotWaterCaution,
	}
}

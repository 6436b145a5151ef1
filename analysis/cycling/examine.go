package cycling

import (
	"maps"
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// minExamined runs say something of why they are short.
	minExamined = 5
	// minLoadS of time at an outdoor temperature tell the load there.
	minLoadS = 3600
	// nearHotWater is how soon after, or before, hot water a run counts as cut
	// out by it.
	afterHotWater, beforeHotWater = 20 * time.Minute, 5 * time.Minute
	// maxPause: a longer one is no part of a cycle.
	maxPause = 3 * time.Hour
	// A run that rose the water by less says nothing of how much there is.
	minRiseK = 1.5
	// maxRiseLength: in longer runs the house took most of the heat.
	maxRiseLength = 45 * time.Minute
	// joulePerLK is water's heat capacity by volume near 40 °C (IAPWS-IF97:
	// 992.2 kg/m³ x 4179 J/(kg·K)).
	joulePerLK = 4146
)

// cycle is one heating run and what follows it; NaN is not known.
type cycle struct {
	from, to               time.Time
	lengthS                float64
	outdoorC, loadW        float64
	outputW                float64 // before the stop
	stopC, differenceK     float64 // flow, and flow less return, at the stop
	aboveK                 float64 // flow above its target at the stop
	flowLPH                float64
	swingK                 float64 // flow at the stop less flow at the next start
	riseK                  float64 // of the water's mean from start to stop
	returnRiseK            float64 // of the return
	heatJ                  float64
	pumpedThrough, pumpCut bool // water moved through the pause, or stopped in it
	nearHotWater           bool
}

// facts are the cycles of a span and what they stand before.
type facts struct {
	plant     Plant
	all       []cycle // whole heating runs
	examined  []cycle // the short ones among them
	published bool    // the target of the flow temperature is published
	lowestW   float64 // output the machine has shown
	capacityJ float64 // effective heat capacity per K
	// capacityAtLeast: the returns had hardly warmed when the runs ended, so not
	// all of the water was seen.
	capacityAtLeast bool
}

func newFacts(sums *siteday.Sums, plant Plant) *facts {
	f := &facts{plant: plant}
	for i, run := range sums.Runs {
		if whole(sums, run) && run.Kind() == heatingRun && run.Begin != nil && run.End != nil {
			f.all = append(f.all, f.cycleOf(sums, i))
			f.published = f.published || run.End.TargetC != nil
		}
	}
	f.lowestW = f.lowestOutput(sums)
	f.capacityJ, f.capacityAtLeast = f.capacity()
	// The shortest are looked at, and as many as it takes to see a pattern.
	for _, limit := range []time.Duration{plant.ShortRun, plant.ShortRun * 3 / 2, 2 * plant.ShortRun, maxRiseLength} {
		f.examined = nil
		for _, c := range f.all {
			if c.lengthS < limit.Seconds() {
				f.examined = append(f.examined, c)
			}
		}
		if len(f.examined) >= minExamined && 4*len(f.examined) >= len(f.all) {
			break
		}
	}
	return f
}

func (f *facts) cycleOf(sums *siteday.Sums, i int) cycle {
	run := sums.Runs[i]
	begin, end := run.Begin, run.End
	c := cycle{
		from: run.From, to: run.To, lengthS: run.To.Sub(run.From).Seconds(), outdoorC: math.NaN(), loadW: math.NaN(), swingK: math.NaN(),
		outputW: value(end.HeatW), stopC: value(end.FlowC), differenceK: value(end.FlowC) - value(end.ReturnC),
		flowLPH: value(end.FlowLPH), heatJ: run.Took.HeatJ,
		riseK:         (value(end.FlowC)+value(end.ReturnC))/2 - (value(begin.FlowC)+value(begin.ReturnC))/2,
		returnRiseK:   value(end.ReturnC) - value(begin.ReturnC),
		pumpedThrough: run.AfterS >= minPauseS && run.PumpedAfterS >= run.AfterS-pumpSlackS,
		pumpCut:       run.AfterS >= minPauseS && run.PumpedAfterS < run.AfterS-pumpSlackS,
		nearHotWater:  nearHotWater(sums.HotWater, run),
	}
	if run.Took.S < 0.9*c.lengthS {
		c.heatJ = math.NaN()
	}
	if outdoorC, ok := run.MeanOutdoor.Of(); ok {
		c.outdoorC, c.loadW = outdoorC, loadAt(sums, outdoorC)
	}
	c.aboveK = c.stopC - f.target(end, c.outdoorC)
	if i+1 < len(sums.Runs) {
		next := sums.Runs[i+1]
		if next.Begin != nil && next.HotWaterS == 0 && next.From.Sub(run.To) < maxPause && !sums.GapWithin(run.To, next.From) {
			c.swingK = c.stopC - value(next.Begin.FlowC)
		}
	}
	return c
}

// A pause this long shows what the pump does in it, but for the seconds it
// takes to stop and start.
const minPauseS, pumpSlackS = 4 * 60, 15

func value(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func nearHotWater(charges []siteday.HotWater, run siteday.Run) bool {
	first, _ := slices.BinarySearchFunc(charges, run.From.Add(-afterHotWater), func(h siteday.HotWater, at time.Time) int { return h.To.Compare(at) })
	for _, h := range charges[first:min(first+4, len(charges))] {
		since, until := run.From.Sub(h.To), h.From.Sub(run.To)
		if since > -time.Minute && since < afterHotWater || until > -time.Minute && until < beforeHotWater {
			return true
		}
	}
	return false
}

// target is the flow temperature wanted at the stop: as published, else by the
// set curve.
func (f *facts) target(end *siteday.Water, outdoorC float64) float64 {
	if end.TargetC != nil {
		return *end.TargetC
	}
	return curveAt(f.plant.Curve, outdoorC)
}

// curveAt reads the curve, level beyond its ends; NaN without one.
func curveAt(curve []CurvePoint, outdoorC float64) float64 {
	if len(curve) == 0 || math.IsNaN(outdoorC) {
		return math.NaN()
	}
	i, _ := slices.BinarySearchFunc(curve, outdoorC, func(p CurvePoint, c float64) int {
		if p.OutdoorC < c {
			return -1
		}
		return 1
	})
	switch i {
	case 0:
		return curve[0].FlowC
	case len(curve):
		return curve[i-1].FlowC
	}
	a, b := curve[i-1], curve[i]
	return a.FlowC + (b.FlowC-a.FlowC)*(outdoorC-a.OutdoorC)/(b.OutdoorC-a.OutdoorC)
}

// loadAt is the mean heat to the rooms within a kelvin of an outdoor
// temperature, hot water's time left out; NaN of less than an hour.
func loadAt(sums *siteday.Sums, outdoorC float64) float64 {
	heatJ, seconds := 0.0, 0.0
	middle := int(math.Floor(outdoorC))
	for c := middle - 1; c <= middle+1; c++ {
		bin := sums.Bins[c]
		for _, state := range []operation.State{operation.Off, operation.Circulating, operation.Heating, operation.Defrost} {
			heatJ += bin.HeatJ[state]
			seconds += bin.CoveredS[state]
		}
	}
	if seconds < minLoadS {
		return math.NaN()
	}
	return heatJ / seconds
}

// lowestOutput is the lowest the machine has shown: of its outputs before
// stops, and of settled heating where that is most of its heating, one in ten
// lies below.
func (f *facts) lowestOutput(sums *siteday.Sums) float64 {
	lowestW := math.NaN()
	if outputs := known(f.all, func(c cycle) float64 { return c.outputW }); len(outputs) >= minExamined {
		lowestW = quantile(outputs, 0.1)
	}
	bins, seconds := slices.Sorted(maps.Keys(sums.Steady)), 0.0
	for _, bin := range bins {
		seconds += sums.Steady[bin].S
	}
	left := 0.1 * seconds
	for _, bin := range bins {
		if left -= sums.Steady[bin].S; left <= 0 && seconds >= max(minLoadS, sums.SecondsS[operation.Heating]/2) {
			return min(siteday.OutputBinW(bin), orInf(lowestW))
		}
	}
	return lowestW
}

func orInf(v float64) float64 {
	if math.IsNaN(v) {
		return math.Inf(1)
	}
	return v
}

// returnShare: the return must have warmed by this share of the difference at
// the stop for a run to have warmed all of the water.
const returnShare = 0.3

// capacity is the median heat that the water, and what is as warm as it, took
// per kelvin in a run: what came less what the house took meanwhile.
func (f *facts) capacity() (perKJ float64, atLeast bool) {
	var all, warmed []float64
	for _, c := range f.all {
		perK := (c.heatJ - c.loadW*c.lengthS) / c.riseK
		if math.IsNaN(perK) || c.riseK < minRiseK || c.lengthS > maxRiseLength.Seconds() {
			continue
		}
		all = append(all, perK)
		if c.returnRiseK > returnShare*c.differenceK {
			warmed = append(warmed, perK)
		}
	}
	atLeast = len(warmed) < minExamined
	if !atLeast {
		all = warmed
	}
	slices.Sort(all)
	if len(all) < minExamined || quantile(all, 0.5) <= 0 {
		return math.NaN(), false
	}
	return quantile(all, 0.5), atLeast
}

// known returns the sorted values that are known.
func known(cycles []cycle, of func(cycle) float64) []float64 {
	var values []float64
	for _, c := range cycles {
		if v := of(c); !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	slices.Sort(values)
	return values
}

// median of what is known of the examined cycles, NaN of fewer than needed.
func (f *facts) median(of func(cycle) float64) float64 {
	values := known(f.examined, of)
	if len(values) < minExamined {
		return math.NaN()
	}
	return quantile(values, 0.5)
}

// share of the examined cycles that are so.
func (f *facts) share(so func(cycle) bool) float64 {
	count := 0
	for _, c := range f.examined {
		if so(c) {
			count++
		}
	}
	return float64(count) / float64(len(f.examined))
}

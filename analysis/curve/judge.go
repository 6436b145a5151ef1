package curve

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

const (
	// fewestEnds of heating runs say how a plant stops (common practice, no
	// source).
	fewestEnds = 8
	// aboveMinimum: a plant that stops at this many times its lowest output did
	// not try to give less. ofMost: without a stated minimum, at this share of
	// the most it was seen to give (common practice, no source).
	aboveMinimum, ofMost = 1.6, 0.8
	// steadily: a plant that heats through so many of its hours is not switched.
	steadily = 0.4
	// A switched plant's water is at least so far above the published target when
	// it stops, and so far above the mean it was seen at where there is none.
	overTargetK, overMeanK = 1.5, 0.75
	// sawingS: with runs as short the water saws up and down whatever the target.
	sawingS = 300
)

// judge says whether what was fitted is a curve.
func (f *Fit) judge(s *siteday.Sums, k *Known) {
	f.Verdict = Usable
	c := &f.candidates[0]
	seen := c.slope(f.ColdestC, f.MildestC)
	what := "the flow temperature"
	if f.FromTarget {
		what = "the target of the flow temperature"
	}
	atends := fmt.Sprintf("between %.0f and %.0f °C outdoors", f.ColdestC, f.MildestC)
	switch {
	case math.Abs(seen.Value) < flattest:
		f.Verdict = NoCurve
		f.Why = fmt.Sprintf("%s does not follow the weather: it stays at %.1f °C %s", what, f.middleC(), atends)
	case seen.Value > 0:
		f.Verdict = NoCurve
		f.Why = fmt.Sprintf("%s rises with the outdoor temperature, %s", what, atends)
	default:
		f.judgeScatter(c, what, atends)
		f.judgeRuns(s, sawingS)
		f.judgeSwitched(s, k)
	}
	if f.Verdict == Usable {
		f.Why = fmt.Sprintf("by %s, seen %s, with a scatter of %.1f K", what, atends, f.RMSK)
	}
}

// middleC is the middle of what was seen.
func (f *Fit) middleC() float64 {
	var flows []float64
	for _, one := range f.candidates[0].used {
		flows = append(flows, one.flowC)
	}
	middle, _ := robust.Median(flows)
	return middle
}

// judgeScatter refuses a curve that explains less than half of what the flow
// does.
func (f *Fit) judgeScatter(c *candidate, what, atends string) {
	flows := make([]float64, len(c.used))
	for i, one := range c.used {
		flows[i] = one.flowC
	}
	spreadK, _ := robust.Deviation(flows)
	if c.r.scaleK > scatterK && c.r.scaleK > spreadK*math.Sqrt(0.5) {
		f.Verdict = NoCurve
		f.Why = fmt.Sprintf("%s scatters by %.1f K %s about any curve: something else than the weather sets it", what, c.r.scaleK, atends)
	}
}

// judgeUnsettled looks at plants that gave too little for a fit: those that are
// switched, and those that never settle.
func (f *Fit) judgeUnsettled(s *siteday.Sums, k *Known) {
	f.judgeRuns(s, minFlowS)
	f.judgeSwitched(s, k)
}

// judgeRuns refuses a curve where heating runs are shorter on average: the water
// is at no temperature then.
func (f *Fit) judgeRuns(s *siteday.Sums, shortestS float64) {
	runs, heatingS := 0.0, 0.0
	for _, run := range s.Runs {
		if run.HotWaterS == 0 {
			runs, heatingS = runs+1, heatingS+run.HeatingS
		}
	}
	if heatingS >= fewestHours*3600 && heatingS < runs*shortestS {
		f.Verdict = NoCurve
		f.Why = fmt.Sprintf("heating runs last %.0f min on average: the water never settles at a temperature", heatingS/runs/60)
	}
}

// judgeSwitched recognises a compressor that is switched on and off instead of
// following: it stops often, from an output far above its lowest, and with the
// water above the curve. One that follows and is stopped by a warm room does not
// overshoot.
func (f *Fit) judgeSwitched(s *siteday.Sums, k *Known) {
	ends := endsW(s)
	if len(ends) < fewestEnds || continuous(s) >= steadily {
		return
	}
	if f.follows(s) {
		return
	}
	endW, _ := robust.Median(ends)
	limitW, against := ofMost*mostW(s), "the most it gave"
	if k.MinimumHeatW != nil {
		limitW, against = aboveMinimum**k.MinimumHeatW, fmt.Sprintf("its lowest output of %.1f kW", *k.MinimumHeatW/1000)
	}
	if limitW > 0 && endW >= limitW {
		f.Verdict = NoCurve
		f.Why = fmt.Sprintf("the compressor is switched on and off: %d heating runs stopped at %.1f kW, against %s, so the water saws about any target", len(ends), endW/1000, against)
	}
}

// follows says whether a fit shows that the water does not overshoot at stops.
// Flow temperatures show it only where they settle most of the time.
func (f *Fit) follows(s *siteday.Sums) bool {
	overK := overMeanK
	if f.FromTarget {
		overK = overTargetK
	}
	if len(f.candidates) == 0 || f.Hysteresis != nil && f.Hysteresis.StopAboveK >= overK {
		return false
	}
	settledS, heatingS := 0.0, 0.0
	for i := range s.Hours {
		h := &s.Hours[i]
		settledS, heatingS = settledS+h.Steady.S, heatingS+h.RunS-h.HotWaterS-h.DefrostS
	}
	return f.FromTarget || settledS >= steadily*heatingS
}

// continuous is the share of the hours of heating alone through which the
// compressor ran.
func continuous(s *siteday.Sums) float64 {
	through, all := 0.0, 0.0
	for i := range s.Hours {
		h := &s.Hours[i]
		if h.RunS == 0 || h.HotWaterS > 0 || h.DefrostS > 0 {
			continue
		}
		all++
		if h.RunS > 0.98*h.S {
			through++
		}
	}
	if all == 0 {
		return 1
	}
	return through / all
}

// mostW is the greatest output, but for a few moments, at which the plant was
// seen.
func mostW(s *siteday.Sums) float64 {
	outputs := endsW(s)
	for i := range s.Hours {
		h := &s.Hours[i]
		if heatingS := h.RunS - h.DefrostS; heatingS > minFlowS && h.CoveredS > 0.9*h.S {
			outputs = append(outputs, (h.SpaceJ+h.HotWaterJ)/heatingS)
		}
	}
	if len(outputs) == 0 {
		return 0
	}
	slices.Sort(outputs)
	return outputs[len(outputs)*98/100]
}

// Hysteresis is how far from the curve heating runs begin and end.
type Hysteresis struct {
	StartBelowK float64 // the flow below the curve at a start, median
	StopAboveK  float64 // above it at a stop, median
	Starts      int     // that the former stands on
	Stops       int
}

// hysteresis returns nil where too few runs of heating alone begin and end.
func (f *Fit) hysteresis(s *siteday.Sums, k *Known) *Hysteresis {
	var below, above []float64
	outdoorC := damped(s.Hours, f.DampingH)
	targetC := func(at time.Time) float64 {
		i, ok := hourAt(s.Hours, at)
		if !ok {
			return math.NaN()
		}
		targetC := f.candidates[0].at(outdoorC[i]).Value
		if roomC, ok := s.Hours[i].Room.Of(); ok && f.RoomSayKPerK != nil {
			targetC += *f.RoomSayKPerK * (k.roomC() - roomC)
		}
		return targetC
	}
	for _, run := range s.Runs {
		if run.HotWaterS > 0 {
			continue
		}
		if run.Begin != nil && run.Begin.FlowC != nil {
			below = append(below, targetC(run.From)-*run.Begin.FlowC)
		}
		if run.End != nil && run.End.FlowC != nil {
			above = append(above, *run.End.FlowC-targetC(run.To))
		}
	}
	h := &Hysteresis{Starts: len(below), Stops: len(above)}
	h.StartBelowK, _ = robust.Median(below)
	h.StopAboveK, _ = robust.Median(above)
	if min(h.Starts, h.Stops) < fewestEnds {
		return nil
	}
	return h
}

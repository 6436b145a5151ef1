package flowrate

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
)

const (
	// A step is believed when it would come by chance once in a hundred times.
	sureStep = 0.01
	// leastStep is the least change of flow that is called a step: valves and
	// circuits close by more (common practice, no source).
	leastStep = 0.05
	// minSideDays on either side tell a level from an odd day, and the gap
	// between two levels is clear from clearDeviations of their days on.
	minSideDays     = 3
	clearDeviations = 3
	// likelier: two levels must leave less than this share of what a straight
	// line leaves, else it is a trend.
	likelier = 0.6
)

// Step is a change of the comparable flow from one level to another. There may
// be more in the days; this is the clearest.
type Step struct {
	First               string // first day that is nearer the new level
	BeforeLPH, AfterLPH float64
	ChangePct           robust.Estimate // of the flow before; the interval takes the day as known
	// From and To bound the moment: at From the plant was last seen heating with
	// the old flow, at To first with the new. Days alone leave it at the day
	// before First to the end of First; Date finds it in their trace.
	From, To time.Time

	before, after float64 // levels
	index         int     // of First in the result's days
}

// findStep returns nil when there is none.
//
// Pettitt's test says whether there is one; that needs about a quarter of the
// days on either side. A fresh step has fewer after it and is believed when no
// day of one side comes near the other. Where it is follows from sizes, which
// Pettitt's ranks do not see: a drift of next to nothing moves their date by days.
func findStep(days []Day) *Step {
	level := make([]float64, len(days))
	for i, d := range days {
		level[i] = d.Level
	}
	if len(level) < 2*minSideDays {
		return nil
	}
	split := bestSplit(level)
	found, ok := robust.FindStep(level)
	if sure := ok && found.P < sureStep; !sure && !apart(level[:split], level[split:]) {
		return nil
	}
	s := stepAt(days, level, split)
	if math.Abs(s.after/s.before-1) < leastStep || fromLevels(level, split) > likelier*fromLine(days, level) {
		return nil
	}
	return s
}

// bestSplit leaves the least deviation from the medians of both sides.
func bestSplit(level []float64) int {
	best, least := minSideDays, math.Inf(1)
	for split := minSideDays; split <= len(level)-minSideDays; split++ {
		if left := fromLevels(level, split); left < least {
			best, least = split, left
		}
	}
	return best
}

// fromLevels is the sum of deviations from the medians of both sides.
func fromLevels(level []float64, split int) float64 {
	sum := 0.0
	for _, side := range [][]float64{level[:split], level[split:]} {
		centre, _ := robust.Median(side)
		for _, v := range side {
			sum += math.Abs(v - centre)
		}
	}
	return sum
}

// fromLine is the same from a straight line.
func fromLine(days []Day, level []float64) float64 {
	number := make([]float64, len(days))
	for i, d := range days {
		number[i] = dayNumber(days[0], d)
	}
	line, ok := robust.TheilSen(number, level)
	if !ok {
		return 0
	}
	sum := 0.0
	for i, v := range level {
		sum += math.Abs(v - line.At(number[i]))
	}
	return sum
}

// apart says whether no day of one side comes near the other.
func apart(before, after []float64) bool {
	gap := max(slices.Min(before)-slices.Max(after), slices.Min(after)-slices.Max(before))
	return gap > max(leastStep/2, clearDeviations*spread(before, after))
}

// spread is the robust deviation of days from the level of their side.
func spread(sides ...[]float64) float64 {
	var rests []float64
	for _, side := range sides {
		centre, _ := robust.Median(side)
		for _, v := range side {
			rests = append(rests, v-centre)
		}
	}
	deviation, _ := robust.Deviation(rests)
	return deviation
}

// stepAt describes the step before the day at an index.
func stepAt(days []Day, level []float64, index int) *Step {
	before, after := level[:index], level[index:]
	s := &Step{First: days[index].Date, From: days[index-1].From, To: days[index].To, index: index}
	s.before, _ = robust.Median(before)
	s.after, _ = robust.Median(after)
	// Of normal noise a median is 1.25 times as uncertain as a mean.
	const medianToMean, normal95 = 1.2533, 1.96
	change := s.after/s.before - 1
	doubt := normal95 * medianToMean * spread(before, after) / s.before * math.Sqrt(1/float64(len(before))+1/float64(len(after)))
	s.ChangePct = robust.Estimate{Value: 100 * change, Low: 100 * (change - doubt), High: 100 * (change + doubt)}
	return s
}

// removed returns the days as if the step had not happened, without the two of
// which one had some of both levels.
func (s *Step) removed(days []Day) []Day {
	rest := slices.Clone(days)
	for i := s.index; i < len(rest); i++ {
		rest[i].Level *= s.before / s.after
	}
	return slices.Delete(rest, s.index-1, s.index+1)
}

// Date narrows From and To of the result's step down to the moment between two
// readings, or two stretches of heating, where the flow of a trace splits best
// into two levels (least squares). The trace must hold the time from From to
// To; it does nothing without heating on both sides.
func (r *Result) Date(t *trace.Trace, op *operation.Operation) {
	s := r.Step
	if s == nil || t.FlowLPH == nil || t.HeatW == nil {
		return
	}
	var at []int
	var ratio []float64
	siteday.Settled(t.DurS, op, 0, t.Len(), func(i int) {
		inside := !t.Start(i).Before(s.From) && !t.Start(i+1).After(s.To)
		if inside && t.FlowLPH[i] > 0 && t.HeatW[i] > 0 {
			at, ratio = append(at, i), append(ratio, t.FlowLPH[i]/r.usual.ratio(t.HeatW[i]))
		}
	})
	if k := splitInTwo(t.DurS, at, ratio); k > 0 {
		s.From, s.To = t.Start(at[k-1]+1), t.Start(at[k])
	}
}

// splitInTwo returns how many of the intervals lie before the split that
// explains most of their variance, 0 if there is none.
func splitInTwo(durS []float64, at []int, ratio []float64) int {
	var all, before means
	for k, i := range at {
		all.add(durS[i], ratio[k])
	}
	best, most := 0, 0.0
	for k, i := range at[:max(len(at)-1, 0)] {
		before.add(durS[i], ratio[k])
		after := all.weight - before.weight
		differs := before.mean(0) - (all.sum[0]-before.sum[0])/after
		if explained := before.weight * after * differs * differs; explained > most {
			best, most = k+1, explained
		}
	}
	return best
}

// Package flowrate says how much water a plant moves while it heats, whether
// that holds over days, and what its pump does while the compressor rests.
//
// It compares like with like. A pump that follows the output moves less water
// on a mild day, and warm water runs more easily than cold: neither is a
// blocked strainer. So each day's flow is held against what the plant itself
// usually moves at the same heat output, and what is left of it goes with the
// weather before a trend is seen. The comparable flow of a day is the flow it
// would have had at high output.
//
// Every trend has its 95 % interval, widened for days that follow each other
// and by what a flow meter may wander; too few days have no trend. There is no
// judgement here: whether a flow is too low for the machine is for those who
// know the machine.
package flowrate

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/siteday"
)

const (
	// minHeatingS of settled heating make a day's flow (common practice, no
	// source).
	minHeatingS = 3600
	// highShare of the 95th percentile of output is high output, where the
	// difference of flow and return may be judged (common practice, no source).
	highShare = 0.7
	// latestDays are what the flow is now.
	latestDays = 3
)

// Day is the flow of one day.
type Day struct {
	Date      string
	From, To  time.Time
	HeatingS  float64  // settled heating
	MedianLPH float64  // of it
	Level     float64  // flow by what is usual at the same output, in the middle of all days 1
	OutdoorC  *float64 // mean of the day

	index int // in the days given
}

// Result is the flow over some days. Nil is not known.
type Result struct {
	// The flow at high output, the comparable one, with the difference there;
	// HighFromW is the output from which it is taken.
	HighLPH, HighDifferenceK, HighFromW *float64
	LatestLPH                           *float64 // the same on the last days
	Days                                []Day    // those with enough heating
	Trend                               *Trend   // with a step taken out, if there is one
	Step                                *Step
	Pump                                *PumpUse

	usual     usual
	centreLPH float64
}

// Of reads site days in ascending order.
func Of(days []siteday.Day) *Result {
	r := &Result{Pump: pumpUse(days)}
	cells := cellsOf(days)
	if len(cells) == 0 {
		return r
	}
	r.usual = learnUsual(cells)
	r.Days, r.centreLPH = levels(days, cells, r.usual)
	r.high(cells)
	if n := len(r.Days); r.HighLPH != nil {
		latest := middle(r.Days[max(n-latestDays, 0):], func(d Day) float64 { return d.Level })
		r.LatestLPH = scaled(r.HighLPH, latest)
	}
	rests := r.Days
	if r.Step = findStep(r.Days); r.Step != nil {
		r.Step.BeforeLPH, r.Step.AfterLPH = *r.HighLPH*r.Step.before, *r.HighLPH*r.Step.after
		rests = r.Step.removed(r.Days)
	}
	r.Trend = trendOf(rests)
	return r
}

// ComparableLPH returns a day's flow as it would have been at high output.
func (r *Result) ComparableLPH(d Day) float64 { return *r.HighLPH * d.Level }

// LevelOf returns a flow by what is usual at the same output, as in Day.Level;
// false when that is not known.
func (r *Result) LevelOf(flowLPH, outputW float64) (float64, bool) {
	if r.centreLPH == 0 || !(outputW > 0) {
		return 0, false
	}
	return flowLPH / r.usual.ratio(outputW) / r.centreLPH, true
}

// high takes flow and difference at high output from the cells, in the middle
// of time. The flow is that of a usual day.
func (r *Result) high(cells []cell) {
	limitW := highShare * weightedQuantile(cells, 0.95, func(c cell) (w, s float64) { return c.outputW, c.durS })
	kept := make([]cell, 0, len(cells))
	level := make(map[int]float64, len(r.Days))
	for _, d := range r.Days {
		level[d.index] = d.Level
	}
	for _, c := range cells {
		if c.outputW >= limitW {
			kept = append(kept, c)
		}
	}
	if len(kept) == 0 {
		return
	}
	flowLPH := weightedQuantile(kept, 0.5, func(c cell) (lph, s float64) { return c.flowLPH / level[c.day], c.durS })
	r.HighLPH, r.HighFromW = &flowLPH, &limitW
	kept = slices.DeleteFunc(kept, func(c cell) bool { return math.IsNaN(c.differenceK) })
	if len(kept) > 0 {
		diffK := weightedQuantile(kept, 0.5, func(c cell) (k, s float64) { return c.differenceK, c.durS })
		r.HighDifferenceK = &diffK
	}
}

func scaled(valueLPH *float64, factor float64) *float64 {
	if valueLPH == nil {
		return nil
	}
	lph := *valueLPH * factor
	return &lph
}

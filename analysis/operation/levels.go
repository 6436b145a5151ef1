package operation

import (
	"math"
	"slices"
)

// Levels are the electrical powers that tell a running compressor from a
// resting one.
type Levels struct {
	StandbyW float64 // what the resting plant takes, its pump included
	RunningW float64 // what it takes when it runs, in the middle
	OnW      float64 // above it, the compressor has started
	OffW     float64 // below it, the compressor has stopped
}

// Known says whether the levels were learned.
func (l Levels) Known() bool { return l.RunningW > 0 }

const (
	// runningShare of the greatest power but for the highest moments: what is
	// above belongs to running. Compressors modulate to a fifth or so of their
	// greatest power, and in summer run for half an hour a day.
	runningShare, runningQuantile = 0.25, 0.995
	// A plant rests when its power stays below restingShare of the running
	// level for minRestS and no heat is drawn: a defrost is shorter or draws.
	restingShare = 0.25
	minRestS     = 5 * 60
	// besideRunS leaves out what follows a stop and what leads up to a start.
	besideRunS = 60
	// levelSamples are enough to know where the running level lies.
	levelSamples = 2000
	// quietShare of the running level stands for a resting level that the
	// readings do not show: 10 to 20 W where 1 to 2 kW run.
	quietShare = 0.01
	// The thresholds lie between both levels on a logarithmic scale, at these
	// shares of the way up (common practice is a fixed power; a share serves
	// plants of 2 and of 20 kW).
	offPosition, onPosition = 0.42, 0.52
	// pumpShare of the greatest power is more than a pump takes.
	pumpShare = 0.07
)

// ownLevels finds the resting and the running power of the trace itself.
func (d *detector) ownLevels() Levels {
	sorted := sortedKnown(d.t.PowerW)
	if len(sorted) == 0 {
		return Levels{}
	}
	topW := quantile(sorted, runningQuantile)
	first, _ := slices.BinarySearch(sorted, runningShare*topW)
	runningW := quantile(sorted[first:], 0.5)
	if runningW <= 0 {
		return Levels{}
	}
	standbyW, lightW := quietShare*runningW, d.lightestW(topW, runningW)
	rest := d.restingPowers(restingShare * runningW)
	if len(rest) > 0 && quantile(rest, 0.95) > lightW/2 {
		rest = below(rest, lightW/2) // of a start, say: it takes minutes to give heat
	}
	if len(rest) > 0 {
		standbyW = max(quantile(rest, 0.95), standbyW)
	}
	between := func(position float64) float64 {
		return math.Pow(standbyW, 1-position) * math.Pow(lightW, position)
	}
	return Levels{StandbyW: standbyW, RunningW: runningW, OnW: between(onPosition), OffW: between(offPosition)}
}

// restingPowers returns the sorted powers of long stretches below a limit in
// which no heat is made.
func (d *detector) restingPowers(limitW float64) []float64 {
	var rest []float64
	d.spans(func(i int) bool { return d.t.PowerW[i] < limitW }, func(first, last int) {
		if d.seconds(first, last) < minRestS || d.draws(first, last) {
			return
		}
		for i := first; i < last; i++ {
			if !d.makesHeat(i) && d.seconds(first, i) >= besideRunS && d.seconds(i, last) > besideRunS {
				rest = append(rest, d.t.PowerW[i])
			}
		}
	})
	slices.Sort(rest)
	return rest
}

// makesHeat says whether more heat comes out than any heater would make of the
// power. For some minutes after a stop the water gives what it holds.
func (d *detector) makesHeat(i int) bool {
	return d.t.HeatW != nil && d.t.HeatW[i] > minRunningCOP*d.t.PowerW[i]
}

// lightestW is the power of the machine at its lightest work: it may charge a
// cylinder at 2 kW and keep a floor warm at 250 W. Without heat to tell by, it
// is the running level.
func (d *detector) lightestW(topW, runningW float64) float64 {
	if d.t.HeatW == nil {
		return runningW
	}
	step := max(len(d.running)/levelSamples, 1)
	var making []float64
	for i := 0; i < len(d.running); i += step {
		if d.t.PowerW[i] > pumpShare*topW && d.makesHeat(i) {
			making = append(making, d.t.PowerW[i])
		}
	}
	if len(making) == 0 {
		return runningW
	}
	slices.Sort(making)
	return min(quantile(making, 0.1), runningW)
}

// sortedKnown returns what is not NaN, sorted, of a few thousand values at
// most; negative readings of a meter at rest count as none.
func sortedKnown(values []float64) []float64 {
	step := max(len(values)/levelSamples, 1)
	sorted := make([]float64, 0, len(values)/step+1)
	for i := 0; i < len(values); i += step {
		if v := values[i]; !math.IsNaN(v) {
			sorted = append(sorted, max(v, 0))
		}
	}
	slices.Sort(sorted)
	return sorted
}

// below returns those of sorted values that are less than a limit.
func below(sorted []float64, limit float64) []float64 {
	n, _ := slices.BinarySearch(sorted, limit)
	return sorted[:n]
}

// quantile of sorted values by the nearest rank.
func quantile(sorted []float64, share float64) float64 {
	return sorted[int(math.Round(share*float64(len(sorted)-1)))]
}

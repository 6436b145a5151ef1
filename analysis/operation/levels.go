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
	// runningShare of the 95th percentile: what is above belongs to running.
	// Compressors modulate to a fifth or so of their greatest power.
	runningShare = 0.25
	// restingShare of the running level: what is below may belong to resting.
	restingShare = 1.0 / 6
	// quietShare of the running level stands for a resting level that the
	// readings do not show: 10 to 20 W where 1 to 2 kW run.
	quietShare = 0.01
	// minRestingShare of the time must lie low to be taken for resting.
	minRestingShare = 0.002
	// The thresholds lie between both levels on a logarithmic scale, at these
	// shares of the way up (common practice is a fixed power; a share serves
	// plants of 2 and of 20 kW).
	offPosition, onPosition = 0.35, 0.45
)

// LearnLevels finds the resting and the running power among powers of which at
// least some belong to a running compressor. It changes neither the slice nor
// its order; NaN is passed over.
func LearnLevels(powerW []float64) Levels {
	sorted := make([]float64, 0, len(powerW))
	for _, w := range powerW {
		if !math.IsNaN(w) {
			sorted = append(sorted, max(w, 0))
		}
	}
	if len(sorted) == 0 {
		return Levels{}
	}
	slices.Sort(sorted)
	first, _ := slices.BinarySearch(sorted, runningShare*quantile(sorted, 0.95))
	runningW := quantile(sorted[first:], 0.5)
	if runningW <= 0 {
		return Levels{}
	}
	standbyW := quietShare * runningW
	resting, _ := slices.BinarySearch(sorted, restingShare*runningW)
	if float64(resting) > minRestingShare*float64(len(sorted)) {
		standbyW = max(quantile(sorted[:resting], 0.9), standbyW)
	}
	between := func(position float64) float64 {
		return math.Pow(standbyW, 1-position) * math.Pow(runningW, position)
	}
	return Levels{StandbyW: standbyW, RunningW: runningW, OnW: between(onPosition), OffW: between(offPosition)}
}

// quantile of sorted values by the nearest rank.
func quantile(sorted []float64, share float64) float64 {
	return sorted[int(math.Round(share*float64(len(sorted)-1)))]
}

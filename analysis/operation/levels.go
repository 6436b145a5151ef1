package operation

import (
	"math"
	"slices"
)

// Levels are the electrical powers that tell a running compressor from a
// resting one.
type Levels struct {
	StandbyW float64 // what the plant takes at rest
	OnW      float64 // above it, the compressor has started
	OffW     float64 // below it, the compressor has stopped
}

// Known says whether the levels were learned.
func (l Levels) Known() bool { return l.OnW > 0 }

const (
	// minClassRatio is how far apart, as a factor, the middle of the resting
	// and the running powers must be. The smallest modulating compressors take
	// some 250 W, a resting plant with its pump on at most 100 W (common
	// practice, no source).
	minClassRatio = 2.5
	// offsetW keeps the logarithm of powers near zero quiet.
	offsetW = 15
)

// LearnLevels splits powers into resting and running where the variance of
// their logarithms between both classes is largest (Otsu 1979). It returns
// unknown levels when the powers are of one kind only. It does not keep or
// change the slice.
func LearnLevels(powerW []float64) Levels {
	logs := make([]float64, 0, len(powerW))
	for _, w := range powerW {
		if !math.IsNaN(w) {
			logs = append(logs, math.Log(max(w, 0)+offsetW))
		}
	}
	if len(logs) < 2 {
		return Levels{}
	}
	slices.Sort(logs)
	split := otsu(logs)
	low, high := logs[:split], logs[split:]
	if len(low) == 0 || len(high) == 0 || quantile(high, 0.5)-quantile(low, 0.5) < math.Log(minClassRatio) {
		return Levels{}
	}
	watt := func(log float64) float64 { return max(math.Exp(log)-offsetW, 0) }
	top, bottom := quantile(low, 0.98), quantile(high, 0.02)
	return Levels{
		StandbyW: watt(quantile(low, 0.5)),
		OnW:      watt((top + bottom) / 2),
		OffW:     watt(top + (bottom-top)*0.3),
	}
}

// otsu returns where to cut sorted values in two so that the variance between
// the parts is largest.
func otsu(sorted []float64) int {
	total := 0.0
	for _, v := range sorted {
		total += v
	}
	n := float64(len(sorted))
	best, cut, sum := -1.0, 0, 0.0
	for i := 0; i < len(sorted)-1; i++ {
		sum += sorted[i]
		if sorted[i+1] == sorted[i] {
			continue
		}
		k := float64(i + 1)
		difference := sum/k - (total-sum)/(n-k)
		if between := k * (n - k) * difference * difference; between > best {
			best, cut = between, i+1
		}
	}
	return cut
}

// quantile of sorted values by the nearest rank.
func quantile(sorted []float64, share float64) float64 {
	return sorted[int(math.Round(share*float64(len(sorted)-1)))]
}

package operation

import (
	"math"
	"slices"
)

// band is where the flow temperature lies in space heating: a straight line
// over the outdoor temperature with a spread.
type band struct {
	levelC  float64 // at pivotC
	slope   float64 // K per K
	pivotC  float64 // outdoor
	spreadK float64
	known   bool
}

const (
	// usualSlope of a heating curve serves while the outdoor temperature has
	// not moved by minSpanK (common practice, no source).
	usualSlope = -0.8
	minSpanK   = 4
	// maxSpreadK: where settled flow temperatures lie further apart than this,
	// they are of two kinds and the lower one is space heating.
	maxSpreadK = 8
	// leastSpreadK keeps a very steady plant's band wider than its sensors.
	leastSpreadK = 1.2
	bandPoints   = 400
	// Heating curves of old radiators at their highest (common practice, no
	// source).
	warmestAt20C, steepestSlope, cappedSpreadK = 24.0, 1.8, 3
)

// at returns the flow temperature expected in space heating.
func (b band) at(outdoorC float64) float64 {
	if math.IsNaN(outdoorC) {
		outdoorC = b.pivotC
	}
	return b.levelC + b.slope*(outdoorC-b.pivotC)
}

// learnBand fits the band to running intervals that weigh by their length.
// Points are outdoor and flow temperature.
func learnBand(outdoorC, flowC []float64) band {
	if len(flowC) < 5 {
		return band{}
	}
	b := band{pivotC: medianOf(outdoorC), known: true}
	lower := lowerKind(outdoorC, flowC)
	b.slope = slopeOf(outdoorC, flowC, lower)
	residuals := make([]float64, 0, len(flowC))
	for i := range flowC {
		if lower[i] {
			residuals = append(residuals, flowC[i]-b.slope*(outdoorC[i]-b.pivotC))
		}
	}
	slices.Sort(residuals)
	b.levelC = quantile(residuals, 0.5)
	// Overshoots after a start make the upper side the wider one.
	b.spreadK = max((quantile(residuals, 0.8)-quantile(residuals, 0.2))/1.68, (quantile(residuals, 0.93)-b.levelC)/1.48, leastSpreadK)
	if capC := warmestHeatingC(b.pivotC); b.levelC > capC {
		b.levelC, b.spreadK = capC, max(b.spreadK, cappedSpreadK)
	}
	return b
}

// warmestHeatingC is the flow temperature above which a weather-compensated
// plant has no reason to heat rooms: where only hot water was made, the band
// must not be taken for it.
func warmestHeatingC(outdoorC float64) float64 {
	return warmestAt20C + steepestSlope*max(20-outdoorC, 0)
}

// lowerKind marks the points of the lower of two kinds of flow temperature,
// or all points if they are of one.
func lowerKind(outdoorC, flowC []float64) []bool {
	pivotC := medianOf(outdoorC)
	level := make([]float64, len(flowC))
	for i := range flowC {
		level[i] = flowC[i] - usualSlope*(outdoorC[i]-pivotC)
	}
	sorted := slices.Sorted(slices.Values(level))
	cut := math.Inf(1)
	if quantile(sorted, 0.98)-quantile(sorted, 0.1) > maxSpreadK {
		if k := otsu(sorted); k > 0 && quantile(sorted[k:], 0.5)-quantile(sorted[:k], 0.5) > maxSpreadK/2 {
			cut = sorted[k]
		}
	}
	lower := make([]bool, len(level))
	for i := range level {
		lower[i] = level[i] < cut
	}
	return lower
}

// slopeOf is the median of slopes between points far enough apart (Theil-Sen),
// bounded to what heating curves have.
func slopeOf(outdoorC, flowC []float64, use []bool) float64 {
	var slopes []float64
	step := max(len(flowC)/60, 1)
	for i := 0; i < len(flowC); i += step {
		for k := 0; k < i; k += step {
			if spanK := outdoorC[i] - outdoorC[k]; use[i] && use[k] && math.Abs(spanK) >= minSpanK {
				slopes = append(slopes, (flowC[i]-flowC[k])/spanK)
			}
		}
	}
	if len(slopes) < 20 {
		return usualSlope
	}
	return min(max(medianOf(slopes), -2.5), 0)
}

// otsu returns where to cut sorted values in two so that the variance between
// the parts is largest (Otsu 1979).
func otsu(sorted []float64) int {
	total := 0.0
	for _, v := range sorted {
		total += v
	}
	n, best, cut, sum := float64(len(sorted)), -1.0, 0, 0.0
	for i := 0; i < len(sorted)-1; i++ {
		sum += sorted[i]
		k := float64(i + 1)
		difference := sum/k - (total-sum)/(n-k)
		if between := k * (n - k) * difference * difference; between > best {
			best, cut = between, i+1
		}
	}
	return cut
}

func medianOf(values []float64) float64 {
	return quantile(slices.Sorted(slices.Values(values)), 0.5)
}

package metrology

import "math"

// SamplingVarianceJSq estimates the variance of an energy that comes from
// sampling: of what happened between the readings nothing is known. Neighbouring
// intervals are taken in pairs, and each pair asks what the energy had been if
// only one of the two readings were there: half the difference of the two
// answers is the pair's error. Variances of spans add.
//
//	sum over pairs of ((P1 - P2)·(d1 + d2)/2)²
//
// Of white noise in the readings that is the variance itself. Of power that
// switches at random moments it is six times the variance of readings that hold
// until the next, and of slow ramps, which the sum hardly misses, more: it errs
// to the side of caution. Intervals of unknown power (NaN) are left out with
// their neighbour. The slices must be equally long.
func SamplingVarianceJSq(powerW, durS []float64) float64 {
	if len(powerW) != len(durS) {
		panic("metrology: slice length mismatch")
	}
	varianceJSq := 0.0
	for i := 0; i+1 < len(powerW); i += 2 {
		errorJ := (powerW[i] - powerW[i+1]) * (durS[i] + durS[i+1]) / 2
		if !math.IsNaN(errorJ) {
			varianceJSq += errorJ * errorJ
		}
	}
	return varianceJSq
}

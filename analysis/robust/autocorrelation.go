package robust

import "math"

// Autocorrelation returns how values at even spacing follow the one before them,
// -1 to 1 (lag 1). A value that is missing must be given as NaN, so that its
// neighbours do not become neighbours of each other. False with fewer than three
// pairs of neighbours, or when all values are equal.
func Autocorrelation(values []float64) (float64, bool) {
	sum, n := 0.0, 0.0
	for _, v := range known(values) {
		sum, n = sum+v, n+1
	}
	mean := sum / n
	var squares, products, pairs float64
	for i, v := range values {
		if !finite(v) {
			continue
		}
		squares += (v - mean) * (v - mean)
		if i > 0 && finite(values[i-1]) {
			products += (v - mean) * (values[i-1] - mean)
			pairs++
		}
	}
	if pairs < 3 || squares == 0 {
		return 0, false
	}
	// Without gaps this is the customary products/squares: n-1 pairs of n values.
	return products / squares * (n - 1) / pairs, true
}

// EffectiveSize returns how many independent values tell as much about their
// mean as n values of an autocorrelation, n·(1-rho)/(1+rho), at least one. A
// negative autocorrelation would make more than n of them; that is not claimed.
func EffectiveSize(n int, rho float64) float64 {
	rho = min(max(rho, 0), 1)
	return math.Max(float64(n)*(1-rho)/(1+rho), 1)
}

package curve

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// leastK is no more than the mean size of the residuals that any coefficients
// leave, given those of coefficients that are about the best. It is the dual of
// least absolute residuals: for all z of at most the weights' size that are at
// right angles to the columns, sum of z·y is no more than the weighted sum of sizes
// (Boyd and Vandenberghe, Convex Optimization, 2004, 5.1 and 5.6.1, from memory).
func (r *regression) leastK(residualK []float64) float64 {
	var sums, tilt [3]float64
	for i, residual := range residualK {
		z := r.weight[i] * signOf(residual)
		sums[0] += z
		for j, column := range r.columns {
			sums[1+j] += z * column[i]
		}
	}
	n := len(r.coefficient)
	// The tilt makes them at right angles.
	if r.plain.SolveVecTo(mat.NewVecDense(n, tilt[:n]), mat.NewVecDense(n, sums[:n])) != nil {
		return 0
	}
	most, product, total := 0.0, 0.0, 0.0
	for i, residual := range residualK {
		share := signOf(residual) - tilt[0]
		for j, column := range r.columns {
			share -= tilt[1+j] * column[i]
		}
		most = max(most, math.Abs(share))
		product += r.weight[i] * share * residual
		total += r.weight[i]
	}
	const rounding = 1e-9
	return product / most / total * (1 - rounding)
}

// signOf is the sign of a residual, softened as its weight is.
func signOf(residualK float64) float64 { return min(max(residualK/leastScaleK, -1), 1) }

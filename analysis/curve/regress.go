package curve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/robust"
)

const (
	// Tukey's bisquare at this many deviations keeps 95 % of the efficiency of
	// least squares on normal noise (Huber 1981).
	tukey = 4.685
	// Rounds of each kind; they settle to a hundredth of a kelvin.
	absoluteRounds, tukeyRounds = 10, 12
	// leastScaleK keeps targets published in half degrees from fitting exactly.
	leastScaleK = 0.05
)

// regression is y = sum of coefficient·column, fitted robustly.
type regression struct {
	columns     [][]float64
	y, weight   []float64
	coefficient []float64
	inverse     *mat.SymDense // of the weighted normal matrix; times scaleK² it is the covariance
	scaleK      float64       // robust deviation of the residuals; of refined regressions
	residualK   []float64
	absoluteK   float64 // weighted mean of the residuals' sizes
}

// regress minimises the sizes of the residuals, which outliers cannot lead
// astray. It returns false where the columns do not determine the coefficients.
func regress(columns [][]float64, y, weight []float64) (*regression, bool) {
	r := &regression{columns: columns, y: y, weight: weight, residualK: make([]float64, len(y))}
	now := slices.Clone(weight)
	for range absoluteRounds {
		if !r.solve(now) {
			return nil, false
		}
		for i, residual := range r.residualK {
			now[i] = weight[i] / max(math.Abs(residual), leastScaleK)
		}
	}
	total := 0.0
	for i, residual := range r.residualK {
		r.absoluteK += weight[i] * math.Abs(residual)
		total += weight[i]
	}
	r.absoluteK /= total
	return r, true
}

// refine goes on with the bisquare, which is less scattered and gives deviations.
func (r *regression) refine() bool {
	now := make([]float64, len(r.weight))
	for range tukeyRounds {
		deviation, _ := robust.Deviation(r.residualK)
		r.scaleK = max(deviation, leastScaleK)
		for i, residual := range r.residualK {
			share := min(math.Abs(residual)/(tukey*r.scaleK), 1)
			now[i] = r.weight[i] * (1 - share*share) * (1 - share*share)
		}
		if !r.solve(now) {
			return false
		}
	}
	return true
}

// solve does one round of weighted least squares.
func (r *regression) solve(weight []float64) bool {
	columns, y, n := r.columns, r.y, len(r.columns)
	normal, right := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a := range columns {
		for b := a; b < n; b++ {
			sum := 0.0
			for i, w := range weight {
				sum += w * columns[a][i] * columns[b][i]
			}
			normal.SetSym(a, b, sum)
		}
		sum := 0.0
		for i, w := range weight {
			sum += w * columns[a][i] * y[i]
		}
		right.SetVec(a, sum)
	}
	var factor mat.Cholesky
	if !factor.Factorize(normal) || factor.Cond() > 1e10 {
		return false
	}
	var solution mat.VecDense
	if factor.SolveVecTo(&solution, right) != nil {
		return false
	}
	r.inverse = mat.NewSymDense(n, nil)
	if factor.InverseTo(r.inverse) != nil {
		return false
	}
	r.coefficient = slices.Clone(solution.RawVector().Data)
	for i := range y {
		r.residualK[i] = y[i]
		for a, c := range r.coefficient {
			r.residualK[i] -= c * columns[a][i]
		}
	}
	return true
}

// deviation of a combination of the coefficients.
func (r *regression) deviation(combination []float64) float64 {
	v := mat.NewVecDense(len(combination), combination)
	return r.scaleK * math.Sqrt(max(mat.Inner(v, r.inverse, v), 0))
}

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

// boundRounds are those before which a look tells whether to go on.
var boundRounds = [absoluteRounds]bool{2: true, 4: true}

// regression is y = level + sum of coefficient·column, of one or two columns,
// fitted robustly.
type regression struct {
	columns     [][]float64
	y, weight   []float64
	coefficient []float64     // the level first
	inverse     *mat.SymDense // of refined regressions, of the weighted normal matrix; times scaleK² it is the covariance
	scaleK      float64       // robust deviation of the residuals; of refined regressions
	residualK   []float64
	absoluteK   float64 // weighted mean of the residuals' sizes

	normal *mat.SymDense
	right  *mat.VecDense
	factor mat.Cholesky
	plain  mat.Cholesky // of the weights as given
}

// regress minimises the sizes of the residuals, which outliers cannot lead
// astray. It returns false where the columns do not determine the coefficients,
// and as soon as the residuals are sure not to be below a limit.
func regress(columns [][]float64, y, weight []float64, belowK float64) (*regression, bool) {
	n := 1 + len(columns)
	r := &regression{
		columns: columns, y: y, weight: weight, coefficient: make([]float64, n),
		normal: mat.NewSymDense(n, nil), right: mat.NewVecDense(n, nil),
	}
	now := slices.Clone(weight)
	for round := range absoluteRounds {
		if round > 0 {
			r.residuals(now)
			if boundRounds[round] && belowK < math.Inf(1) && r.leastK(now) >= belowK {
				return nil, false
			}
			for i, residual := range now {
				now[i] = weight[i] / max(math.Abs(residual), leastScaleK)
			}
		}
		if !r.solve(now) {
			return nil, false
		}
		if round == 0 {
			r.plain.Clone(&r.factor)
		}
	}
	r.residualK = now
	r.residuals(r.residualK)
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
		r.residuals(r.residualK)
	}
	r.inverse = mat.NewSymDense(len(r.coefficient), nil)
	return r.factor.InverseTo(r.inverse) == nil
}

// solve does one round of weighted least squares.
func (r *regression) solve(weight []float64) bool {
	if len(r.columns) == 1 {
		r.sumOne(weight)
	} else {
		r.sumTwo(weight)
	}
	if !r.factor.Factorize(r.normal) || r.factor.Cond() > 1e10 {
		return false
	}
	return r.factor.SolveVecTo(mat.NewVecDense(len(r.coefficient), r.coefficient), r.right) == nil
}

// sumOne and sumTwo make the normal equations of one column and of two.
func (r *regression) sumOne(weight []float64) {
	x, y := r.columns[0][:len(weight)], r.y[:len(weight)]
	var sum, sumX, sumXX, sumY, sumXY float64
	for i, w := range weight {
		wx := w * x[i]
		sum, sumX, sumXX = sum+w, sumX+wx, sumXX+wx*x[i]
		sumY, sumXY = sumY+w*y[i], sumXY+wx*y[i]
	}
	r.set(sum, sumX, sumXX)
	r.setRight(sumY, sumXY)
}

func (r *regression) sumTwo(weight []float64) {
	x, z, y := r.columns[0][:len(weight)], r.columns[1][:len(weight)], r.y[:len(weight)]
	var sum, sumX, sumZ, sumXX, sumXZ, sumZZ, sumY, sumXY, sumZY float64
	for i, w := range weight {
		wx, wz := w*x[i], w*z[i]
		sum, sumX, sumZ = sum+w, sumX+wx, sumZ+wz
		sumXX, sumXZ, sumZZ = sumXX+wx*x[i], sumXZ+wx*z[i], sumZZ+wz*z[i]
		sumY, sumXY, sumZY = sumY+w*y[i], sumXY+wx*y[i], sumZY+wz*y[i]
	}
	r.set(sum, sumX, sumZ, sumXX, sumXZ, sumZZ)
	r.setRight(sumY, sumXY, sumZY)
}

// set fills the normal matrix by rows of its upper triangle.
func (r *regression) set(sums ...float64) {
	n, next := len(r.coefficient), 0
	for a := range n {
		for b := a; b < n; b++ {
			r.normal.SetSym(a, b, sums[next])
			next++
		}
	}
}

func (r *regression) setRight(sums ...float64) {
	for a, sum := range sums {
		r.right.SetVec(a, sum)
	}
}

// residuals puts down what the coefficients leave of y.
func (r *regression) residuals(to []float64) {
	x, y, level, slope := r.columns[0][:len(to)], r.y[:len(to)], r.coefficient[0], r.coefficient[1]
	if len(r.columns) == 1 {
		for i := range to {
			to[i] = y[i] - level - slope*x[i]
		}
		return
	}
	z, other := r.columns[1][:len(to)], r.coefficient[2]
	for i := range to {
		to[i] = y[i] - level - slope*x[i] - other*z[i]
	}
}

// deviation of a combination of the coefficients.
func (r *regression) deviation(combination []float64) float64 {
	v := mat.NewVecDense(len(combination), combination)
	return r.scaleK * math.Sqrt(max(mat.Inner(v, r.inverse, v), 0))
}

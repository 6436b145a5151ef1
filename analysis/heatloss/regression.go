package heatloss

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/robust"
)

// regression is an ordinary least-squares fit of rows to y.
type regression struct {
	coef     []float64
	residual []float64
	rss      float64
	freedom  int // n - p
	bread    *mat.SymDense
	rows     [][]float64
	day      []int // of each row, counted from any day
	rho      float64
	doubt    *doubt // after weigh
}

// doubt is what the variance of any linear combination of the coefficients is
// made of.
type doubt struct {
	ordinary  float64       // times g' bread g, made larger for rho
	neweyWest *mat.SymDense // g' of it g
	student95 float64       // Student's t for 95 % with the fit's freedom
}

// regress fits y; false when the rows do not tell the coefficients apart.
// rank counts parameters that are not among the columns.
func regress(rows [][]float64, y []float64, day []int, rank int) (*regression, bool) {
	n, p := len(rows), 0
	if n > 0 {
		p = len(rows[0])
	}
	if n <= p+rank || p == 0 {
		return nil, false
	}
	x := mat.NewDense(n, p, nil)
	for i, row := range rows {
		x.SetRow(i, row)
	}
	var qr mat.QR
	qr.Factorize(x)
	var coef mat.VecDense
	if err := qr.SolveVecTo(&coef, false, mat.NewVecDense(n, y)); err != nil {
		return nil, false
	}
	r := &regression{coef: coef.RawVector().Data, freedom: n - p - rank, rows: rows, day: day, residual: make([]float64, n)}
	for i, row := range rows {
		r.residual[i] = y[i]
		for j, v := range row {
			r.residual[i] -= v * r.coef[j]
		}
		r.rss += r.residual[i] * r.residual[i]
	}
	return r, r.invert(x)
}

// invert keeps (X'X)^-1 of these columns.
func (r *regression) invert(x *mat.Dense) bool {
	var qr mat.QR
	qr.Factorize(x)
	var upper, inverse mat.Dense
	qr.RTo(&upper)
	_, p := x.Dims()
	if err := inverse.Inverse(upper.Slice(0, p, 0, p)); err != nil {
		return false
	}
	r.bread = mat.NewSymDense(p, nil)
	r.bread.SymOuterK(1, &inverse)
	return true
}

// correlate finds how the residuals of neighbouring days go together.
func (r *regression) correlate() {
	first, last := r.day[0], r.day[len(r.day)-1]
	series := make([]float64, last-first+1)
	for i := range series {
		series[i] = math.NaN()
	}
	for i, d := range r.day {
		series[d-first] = r.residual[i]
	}
	r.rho, _ = robust.Autocorrelation(series)
}

// weigh prepares variance, once and for all combinations.
func (r *regression) weigh() {
	n := len(r.rows)
	freedom := float64(r.freedom)
	r.doubt = &doubt{
		ordinary:  r.rss / freedom * float64(n) / robust.EffectiveSize(n, r.unbiased()),
		neweyWest: r.neweyWest(lagsFor(n)),
		student95: student95(freedom),
	}
	r.doubt.neweyWest.ScaleSym(float64(n)/freedom, r.doubt.neweyWest)
}

// variance of the linear combination g of the coefficients: the largest of
// ordinary least squares made larger for rho by n_eff, and Newey and West's.
func (r *regression) variance(g []float64) float64 {
	return max(r.doubt.ordinary*along(r.bread, g), along(r.doubt.neweyWest, g), 0)
}

// along is g' m g.
func along(m *mat.SymDense, g []float64) float64 {
	sum := 0.0
	for i, v := range g {
		for j, w := range g {
			sum += v * m.At(i, j) * w
		}
	}
	return sum
}

// unbiased takes off what few residuals hide of rho: about (1+3 rho)/n with a
// constant fitted (Marriott and Pope 1954). It stays below 0.8, beyond which few
// days tell nothing.
func (r *regression) unbiased() float64 {
	n := float64(len(r.rows))
	return min((r.rho*n+1)/max(n-3, 1), 0.8)
}

// lagsFor is Newey and West's rule of 1994, 4 (n/100)^(2/9).
func lagsFor(n int) int { return int(4 * math.Pow(float64(n)/100, 2.0/9)) }

// neweyWest is the covariance of the coefficients with the Bartlett kernel. Days
// that are missing are no neighbours.
func (r *regression) neweyWest(lags int) *mat.SymDense {
	scores := mat.NewDense(r.day[len(r.day)-1]-r.day[0]+1, len(r.rows[0]), nil)
	for i, row := range r.rows {
		score := scores.RawRowView(r.day[i] - r.day[0])
		for j, v := range row {
			score[j] = r.residual[i] * v
		}
	}
	meat := kernelSum(scores, lags)
	var half, both mat.Dense
	half.Mul(r.bread, meat)
	both.Mul(&half, r.bread)
	p, _ := both.Dims()
	covariance := mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			covariance.SetSym(i, j, (both.At(i, j)+both.At(j, i))/2)
		}
	}
	return covariance
}

// kernelSum adds up the products of rows that lie up to lags apart.
func kernelSum(scores *mat.Dense, lags int) *mat.SymDense {
	days, p := scores.Dims()
	sum := mat.NewSymDense(p, nil)
	for day := range days {
		one := scores.RawRowView(day)
		for other := max(day-lags, 0); other <= min(day+lags, days-1); other++ {
			weight := 1 - math.Abs(float64(other-day))/float64(lags+1)
			two := scores.RawRowView(other)
			for i := range p {
				for j := i; j < p; j++ {
					// Each pair of days comes in both orders.
					sum.SetSym(i, j, sum.At(i, j)+weight*(one[i]*two[j]+one[j]*two[i])/2)
				}
			}
		}
	}
	return sum
}

// aicc is Akaike's criterion, corrected for few rows; the error's variance is
// one more parameter.
func (r *regression) aicc() float64 {
	n := float64(len(r.rows))
	k := n - float64(r.freedom) + 1
	if n-k-1 <= 0 {
		return math.Inf(1)
	}
	return n*math.Log(r.rss/n) + 2*k + 2*k*(k+1)/(n-k-1)
}

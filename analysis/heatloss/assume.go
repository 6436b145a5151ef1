package heatloss

import (
	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/robust"
)

// What is usual of houses, for the first days. The base temperature in use lies
// some 3 K below that of the rooms (15.5 °C in CIBSE TM41, for rooms of 18 to
// 19 °C); from 1 K in a leaky house with one person to 6 K in a tight and full
// one.
const (
	usualGainK       = 3
	usualGainSpreadK = 1.5 // standard deviation
	// usualRoomC is where nothing is known of the rooms.
	usualRoomC       = 20
	usualRoomSpreadK = 1
)

// assumeBase takes in, beside the days, that the line meets no heat at about an
// outdoor temperature: one more observation, as uncertain as it is.
func (s *Signature) assumeBase(baseC, spreadK float64) {
	n := len(s.fit.coef)
	scale := s.fit.rss / float64(s.fit.freedom) * float64(len(s.fit.rows)) / robust.EffectiveSize(len(s.fit.rows), s.fit.unbiased())
	var cov mat.SymDense
	cov.ScaleSym(scale, s.fit.bread)
	h := mat.NewVecDense(n, nil)
	h.SetVec(0, 1)
	h.SetVec(1, -baseC)
	var along mat.VecDense
	along.MulVec(&cov, h)
	variance := mat.Dot(h, &along) + s.LossWPerK*s.LossWPerK*spreadK*spreadK
	miss := -(s.ZeroW - s.LossWPerK*baseC)
	s.ZeroW += along.AtVec(0) / variance * miss
	s.LossWPerK += along.AtVec(1) / variance * miss
	cov.SymRankOne(&cov, -1/variance, &along)
	s.cov = &cov
}

// variance of the figure that coefficients make along g.
func (s *Signature) variance(g []float64) float64 {
	if s.cov == nil {
		return s.fit.variance(g)
	}
	v := mat.NewVecDense(len(g), g)
	return mat.Inner(v, s.cov, v)
}

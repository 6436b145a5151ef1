package heatloss

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

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

// certainty is a figure's variance, how many standard deviations to each side
// hold 95 %, what share the days have in it (the rest was assumed), and how it
// moves with each K that flow minus return reads high.
type certainty struct{ variance, factor95, share, perPair float64 }

// normal95 is how many standard deviations to each side hold 95 %.
var normal95 = distuv.UnitNormal.Quantile(0.975)

// student95 is by how many standard deviations to each side 95 % lie of so many
// freedoms.
func student95(freedom float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(0.975)
}

// half is half the width of the 95 % interval.
func (c certainty) half() float64 { return c.factor95 * math.Sqrt(c.variance) }

// sure is the certainty of the figure that coefficients make along g. What was
// assumed has no freedoms to count, so the days' are spread over less of the
// variance (Welch and Satterthwaite; GUM, JCGM 100:2008, G.4).
func (s *Signature) sure(g []float64) certainty {
	own := certainty{variance: s.fit.variance(g), factor95: s.fit.doubt.student95, share: 1}
	if s.cov == nil {
		return own
	}
	both := along(s.cov, g)
	share := min(both/own.variance, 1) // of the days in the figure
	freedom := float64(s.fit.freedom) / (share * share)
	return certainty{variance: both, factor95: student95(freedom), share: share}
}

package heatloss

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Term is what a signature may take in beside the outdoor temperature.
type Term string

// The terms.
const (
	Yesterday Term = "the day before's outdoor temperature"
	Sun       Term = "the sun"
	SunByDate Term = "the season's sun"
	Storage   Term = "the change of the room temperature over the day"
)

var allTerms = []Term{Yesterday, Sun, SunByDate, Storage}

// sample is one day as it is fitted. Terms are 0 in the state in which the
// house is asked for: steady, with the usual sun; NaN when not known.
type sample struct {
	day      int
	outdoorC float64 // as if the room had been at its design temperature
	heatW    float64
	terms    map[Term]float64
	// perPairWPerK is what a K that flow minus return reads high adds to heatW.
	perPairWPerK float64
}

// Signature is daily heat against outdoor temperature.
type Signature struct {
	LossWPerK float64  // rise of heat by outdoor temperature
	ZeroW     float64  // heat at 0 °C; above the base with one
	BaseC     *float64 // the base temperature, when days reach it
	Terms     []Term
	Days      int
	CV, NMBE  float64 // CV(RMSE) with n-p, and mean bias, as shares of the mean heat
	Rho       float64 // of the residuals of neighbouring days

	fit *regression
	cov *mat.SymDense // with what was assumed; nil: that of the fit

	rivals []rival

	// pull is how the coefficients move with each K that flow minus return reads
	// high; pullRatio by how much all heat does.
	pull      []float64
	pullRatio float64
}

// line fits heat = zero - loss · outdoor, and terms.
func line(samples []sample, terms []Term) (*Signature, bool) {
	rows, y, day := columns(samples, terms, math.Inf(1))
	for i := range rows {
		rows[i][1] = -samples[i].outdoorC
	}
	fit, ok := regress(rows, y, day, 0)
	if !ok {
		return nil, false
	}
	s := describe(fit, y, terms, nil)
	return s, s.pulled(samples)
}

// columns makes the rows of a fit below a base temperature; terms do not act above.
func columns(samples []sample, terms []Term, baseC float64) (rows [][]float64, y []float64, day []int) {
	for _, s := range samples {
		row := make([]float64, 2+len(terms))
		row[0], row[1] = 1, max(0, baseC-s.outdoorC)
		for j, term := range terms {
			if s.outdoorC < baseC {
				row[2+j] = s.terms[term]
			}
		}
		rows, y, day = append(rows, row), append(y, s.heatW), append(day, s.day)
	}
	return rows, y, day
}

// baseGridK is the step of the search for a base temperature.
const baseGridK = 0.05

// changePoint fits heat = y0 + loss · max(0, base - outdoor), and terms. The sum
// of squares has local minima, so all bases are tried before one is refined.
func changePoint(samples []sample, terms []Term, sideDays int) (*Signature, bool) {
	sorted := make([]float64, len(samples))
	for i, s := range samples {
		sorted[i] = s.outdoorC
	}
	slices.Sort(sorted)
	if len(sorted) < 2*sideDays+1 {
		return nil, false
	}
	lowC, highC := sorted[sideDays-1], sorted[len(sorted)-sideDays]
	search := newSearch(samples, terms)
	bestC, ok := search.best(lowC, highC)
	if !ok {
		return nil, false
	}
	return atBase(samples, terms, golden(search.rss, max(bestC-baseGridK, lowC), min(bestC+baseGridK, highC)))
}

// golden narrows a minimum between two points by golden section.
func golden(f func(float64) float64, low, high float64) float64 {
	const share = 0.6180339887498949
	a, b := high-share*(high-low), low+share*(high-low)
	fa, fb := f(a), f(b)
	for high-low > 1e-8 {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - share*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + share*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}

// atBase fits at a base temperature and counts it as a parameter: the row gains
// the derivative by it.
func atBase(samples []sample, terms []Term, baseC float64) (*Signature, bool) {
	rows, y, day := columns(samples, terms, baseC)
	fit, ok := regress(rows, y, day, 1)
	if !ok {
		return nil, false
	}
	x := mat.NewDense(len(rows), len(rows[0])+1, nil)
	for i, s := range samples {
		slope := 0.0
		if s.outdoorC < baseC {
			slope = fit.coef[1]
		}
		rows[i] = append(rows[i], slope)
		x.SetRow(i, rows[i])
	}
	if !fit.invert(x) {
		return nil, false
	}
	s := describe(fit, y, terms, &baseC)
	return s, s.pulled(samples)
}

// pulled fits the meter's constant error as the heat was, which is how it gets
// into the figures.
func (s *Signature) pulled(samples []sample) bool {
	errors, errorW, heatW := make([]float64, len(samples)), 0.0, 0.0
	for i, d := range samples {
		errors[i] = d.perPairWPerK
		errorW, heatW = errorW+errors[i], heatW+d.heatW
	}
	fit, ok := regress(s.fit.rows, errors, s.fit.day, 0)
	if ok {
		s.pull, s.pullRatio = fit.coef, errorW/heatW
	}
	return ok
}

func describe(fit *regression, y []float64, terms []Term, baseC *float64) *Signature {
	fit.correlate()
	mean, bias := 0.0, 0.0
	for i, v := range y {
		mean += v / float64(len(y))
		bias += fit.residual[i]
	}
	return &Signature{
		LossWPerK: fit.coef[1], ZeroW: fit.coef[0], BaseC: baseC, Terms: terms, Days: len(y),
		CV: math.Sqrt(fit.rss/float64(fit.freedom)) / mean, NMBE: bias / float64(fit.freedom) / mean,
		Rho: fit.rho, fit: fit,
	}
}

// heatW is the heat at an outdoor temperature in the steady state.
func (s *Signature) heatW(outdoorC float64) float64 {
	if s.BaseC == nil {
		return s.ZeroW - s.LossWPerK*outdoorC
	}
	return s.ZeroW + s.LossWPerK*max(0, *s.BaseC-outdoorC)
}

// miss is what a day's heat is off. Terms that are not known are left out.
func (s *Signature) miss(d *sample) float64 {
	heatW := s.heatW(d.outdoorC)
	if s.BaseC == nil || d.outdoorC < *s.BaseC {
		for j, term := range s.Terms {
			heatW += s.fit.coef[2+j] * d.terms[term]
		}
	}
	return d.heatW - heatW
}

// zeroC is the outdoor temperature at which the line meets no heat, or the base.
func (s *Signature) zeroC() float64 {
	if s.BaseC != nil {
		return *s.BaseC
	}
	return s.ZeroW / s.LossWPerK
}

// sureLoss, sureHeat and sureZero are how sure the figures are that LossWPerK,
// heatW and zeroC give.
func (s *Signature) sureLoss() certainty {
	g := s.nothing()
	g[1] = 1
	return s.doubted(g, s.LossWPerK, func(r *Signature) float64 { return r.LossWPerK })
}

func (s *Signature) sureHeat(outdoorC float64) certainty {
	g := s.nothing()
	g[0] = 1
	switch {
	case s.BaseC == nil:
		g[1] = -outdoorC
	case outdoorC < *s.BaseC:
		g[1], g[len(g)-1] = *s.BaseC-outdoorC, s.LossWPerK
	}
	return s.doubted(g, s.heatW(outdoorC), func(r *Signature) float64 { return r.heatW(outdoorC) })
}

func (s *Signature) sureZero() certainty {
	g := s.nothing()
	if s.BaseC != nil {
		g[len(g)-1] = 1
	} else {
		g[0], g[1] = 1/s.LossWPerK, -s.ZeroW/(s.LossWPerK*s.LossWPerK)
	}
	return s.doubted(g, 0, (*Signature).zeroC)
}

// doubted adds what rivals make of a figure. What was assumed goes up with all
// heat: by so much of the value.
func (s *Signature) doubted(g []float64, value float64, figure func(*Signature) float64) certainty {
	c := s.sure(g)
	for i, v := range g {
		c.perPair += c.share * v * s.pull[i]
	}
	c.perPair += (1 - c.share) * value * s.pullRatio
	c.variance += s.rivalry(figure)
	return c
}

// nothing is a direction along no coefficient.
func (s *Signature) nothing() []float64 {
	n, _ := s.fit.bread.Dims()
	return make([]float64, n)
}

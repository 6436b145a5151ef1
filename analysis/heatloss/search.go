package heatloss

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// search tries many base temperatures on the same days: by the normal equations,
// which are fast, and good enough to compare; the fit itself is by QR.
type search struct {
	outdoorC, heatW []float64
	terms           [][]float64 // of each day
	row             []float64
	normal          *mat.SymDense
	right           *mat.VecDense
	coef            mat.VecDense
	chol            mat.Cholesky
}

func newSearch(samples []sample, terms []Term) *search {
	p := 2 + len(terms)
	s := &search{row: make([]float64, p), normal: mat.NewSymDense(p, nil), right: mat.NewVecDense(p, nil)}
	for _, d := range samples {
		values := make([]float64, len(terms))
		for j, term := range terms {
			values[j] = d.terms[term]
		}
		s.outdoorC, s.heatW, s.terms = append(s.outdoorC, d.outdoorC), append(s.heatW, d.heatW), append(s.terms, values)
	}
	return s
}

// rss is the sum of squares at a base temperature, infinite where the days do
// not tell the coefficients apart.
func (s *search) rss(baseC float64) float64 {
	s.normal.Zero()
	s.right.Zero()
	for i := range s.heatW {
		row := s.fill(i, baseC)
		for j, v := range row {
			s.right.SetVec(j, s.right.AtVec(j)+v*s.heatW[i])
			for k := j; k < len(row); k++ {
				s.normal.SetSym(j, k, s.normal.At(j, k)+v*row[k])
			}
		}
	}
	if !s.chol.Factorize(s.normal) || s.chol.SolveVecTo(&s.coef, s.right) != nil {
		return math.Inf(1)
	}
	sum := 0.0
	for i, heatW := range s.heatW {
		for j, v := range s.fill(i, baseC) {
			heatW -= v * s.coef.AtVec(j)
		}
		sum += heatW * heatW
	}
	return sum
}

// fill is day i's row at a base.
func (s *search) fill(i int, baseC float64) []float64 {
	clear(s.row)
	s.row[0] = 1
	if s.outdoorC[i] < baseC {
		s.row[1] = baseC - s.outdoorC[i]
		copy(s.row[2:], s.terms[i])
	}
	return s.row
}

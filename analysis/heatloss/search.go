package heatloss

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// search tries many base temperatures on the same days: by the normal equations,
// which are fast, and good enough to compare; the fit itself is by QR.
type search struct {
	days   []searched
	n      int // coefficients
	normal *mat.SymDense
	right  *mat.VecDense
	coef   mat.VecDense
	chol   mat.Cholesky
	sums   *baseSums
}

// mostColumns has a row of the fit: level, outdoor temperature and all terms.
const mostColumns = 6

// searched is a day's heat and outdoor temperature with its terms, in the
// columns that they have in a row.
type searched struct {
	outdoorC, heatW float64
	row             [mostColumns]float64
}

func newSearch(samples []sample, terms []Term) *search {
	n := 2 + len(terms)
	s := &search{days: make([]searched, len(samples)), n: n, normal: mat.NewSymDense(n, nil), right: mat.NewVecDense(n, nil)}
	for i := range samples {
		d := searched{outdoorC: samples[i].outdoorC, heatW: samples[i].heatW}
		for j, term := range terms {
			d.row[2+j] = samples[i].terms[term]
		}
		s.days[i] = d
	}
	s.sums = sumsOf(s.days, n)
	return s
}

// best is the first base of the grid at which the sum of squares is least; false
// where none tells the coefficients apart. Sums tell which are worth a look.
func (s *search) best(lowC, highC float64) (bestC float64, ok bool) {
	var rough []float64
	least := math.Inf(1)
	for c := lowC; c <= highC; c += baseGridK {
		v := s.sums.rss(c)
		rough = append(rough, v)
		if v >= 0 {
			least = min(least, v)
		}
	}
	limit, best := least+s.sums.slack(), math.Inf(1)
	i := 0
	for c := lowC; c <= highC; c += baseGridK {
		if rough[i] <= limit {
			if v := s.rss(c); v < best {
				best, bestC = v, c
			}
		}
		i++
	}
	return bestC, !math.IsInf(best, 1)
}

// rss is the sum of squares at a base temperature, infinite where the days do
// not tell the coefficients apart.
func (s *search) rss(baseC float64) float64 {
	s.equations(baseC)
	if !s.chol.Factorize(s.normal) || s.chol.SolveVecTo(&s.coef, s.right) != nil {
		return math.Inf(1)
	}
	coef := s.coef.RawVector().Data
	sum := 0.0
	for i := range s.days {
		d := &s.days[i]
		miss := d.heatW - coef[0]
		if d.outdoorC < baseC {
			miss -= (baseC - d.outdoorC) * coef[1]
			for j := 2; j < s.n; j++ {
				miss -= d.row[j] * coef[j]
			}
		}
		sum += miss * miss
	}
	return sum
}

// equations are the normal equations at a base.
func (s *search) equations(baseC float64) {
	var normal [mostColumns][mostColumns]float64
	var right [mostColumns]float64
	for i := range s.days {
		d := &s.days[i]
		normal[0][0]++
		right[0] += d.heatW
		if d.outdoorC >= baseC {
			continue
		}
		d.row[0], d.row[1] = 1, baseC-d.outdoorC
		for k := 1; k < s.n; k++ {
			normal[0][k] += d.row[k]
		}
		for j := 1; j < s.n; j++ {
			right[j] += d.row[j] * d.heatW
			for k := j; k < s.n; k++ {
				normal[j][k] += d.row[j] * d.row[k]
			}
		}
	}
	for j := range s.n {
		s.right.SetVec(j, right[j])
		for k := j; k < s.n; k++ {
			s.normal.SetSym(j, k, normal[j][k])
		}
	}
}

// baseSums are sums over the coldest days, none to all of them, of which the sum
// of squares at any base is made at once.
type baseSums struct {
	n         int // coefficients
	outdoorC  []float64
	below     []products
	meanC     float64
	meanW     float64
	squaresW2 float64 // of heat about its mean
}

// products are sums of the products of 1, outdoor temperature, terms and heat,
// about their means.
type products [mostColumns + 1][mostColumns + 1]float64

func sumsOf(days []searched, n int) *baseSums {
	sorted := slices.SortedFunc(slices.Values(days), func(a, b searched) int { return cmp.Compare(a.outdoorC, b.outdoorC) })
	s := &baseSums{n: n, outdoorC: make([]float64, len(days)), below: make([]products, len(days)+1)}
	for _, d := range sorted {
		s.meanC += d.outdoorC / float64(len(days))
		s.meanW += d.heatW / float64(len(days))
	}
	for i, d := range sorted {
		s.outdoorC[i] = d.outdoorC
		row := d.row
		row[0], row[1] = 1, d.outdoorC-s.meanC
		heatW := d.heatW - s.meanW
		s.squaresW2 += heatW * heatW
		s.below[i+1] = s.below[i]
		s.below[i+1].add(row[:n], heatW)
	}
	return s
}

func (p *products) add(row []float64, heatW float64) {
	for i, v := range row {
		for j := i; j < len(row); j++ {
			p[i][j] += v * row[j]
		}
		p[i][len(row)] += v * heatW
	}
}

// lostDigits: where elimination leaves less of a column than this, sums do not
// tell the coefficients apart well.
const lostDigits = 1e-6

// slack is more than sums are off where they tell.
func (s *baseSums) slack() float64 { return 1e-8 * s.squaresW2 }

// rss is nearly the sum of squares at a base; -Inf where sums do not tell it.
func (s *baseSums) rss(baseC float64) float64 {
	cold, _ := slices.BinarySearch(s.outdoorC, baseC)
	a := s.below[cold]
	b, n := baseC-s.meanC, s.n
	a[1][1] = b*b*a[0][0] - 2*b*a[0][1] + a[1][1]
	for k := 2; k <= n; k++ {
		a[1][k] = b*a[0][k] - a[1][k]
	}
	a[0][1] = b*a[0][0] - a[0][1]
	a[0][0], a[0][n], a[n][n] = float64(len(s.outdoorC)), 0, s.squaresW2
	var whole [mostColumns]float64
	for c := range n {
		whole[c] = a[c][c]
	}
	for c := range n {
		if !(a[c][c] > lostDigits*whole[c]) {
			return math.Inf(-1)
		}
		for i := c + 1; i <= n; i++ {
			share := a[c][i] / a[c][c]
			for j := i; j <= n; j++ {
				a[i][j] -= share * a[c][j]
			}
		}
	}
	return a[n][n]
}

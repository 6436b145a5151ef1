package metrology

import "math"

// coverage is the factor k of the quoted uncertainty: two standard deviations,
// about 95 %.
const coverage = 2

// Limits are error limits of independent parts, in percent of the same whole.
type Limits []float64

// LinearPct is their sum: every part at its limit and all to the same side.
func (l Limits) LinearPct() float64 {
	sum := 0.0
	for _, limit := range l {
		sum += limit
	}
	return sum
}

// RootSumSquarePct is their root sum of squares.
func (l Limits) RootSumSquarePct() float64 {
	squares := 0.0
	for _, limit := range l {
		squares += limit * limit
	}
	return math.Sqrt(squares)
}

// ExpandedPct is the uncertainty with k = 2 when each part lies anywhere within
// its limit with equal probability. Of a single part that is 15 % more than the
// limit itself.
func (l Limits) ExpandedPct() float64 { return expanded(l.RootSumSquarePct()) }

// expanded turns the limit of a rectangular distribution into k = 2.
func expanded(limit float64) float64 { return coverage * limit / math.Sqrt(3) }

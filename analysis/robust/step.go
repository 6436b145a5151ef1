package robust

import "math"

// Step is a change of level.
type Step struct {
	Index  int      // of the first value after it, in the values as given
	Change Estimate // level after less level before
	P      float64  // probability of such a split in values without a step
	N      int
}

// FindStep finds where values in order of time most look as if their level had
// changed, and how sure that is, by Pettitt's test: at each split it ranks all
// values and asks how far those before it keep to one end. The change is the
// median difference of a value after and a value before (Hodges and Lehmann);
// its interval takes the date as known.
//
// There is always a most likely split: look at P before believing in it. A
// steady trend looks like a step in its middle, and values that follow each
// other make steps of their own; compare with MannKendall and Autocorrelation.
//
// False of fewer than ten values, or when the split leaves too few on one side
// to size the change. Time and memory grow with the square of the values: it is
// meant for days, not for readings.
func FindStep(values []float64) (Step, bool) {
	kept, index := knownAt(values)
	if len(kept) < fewestForNormal {
		return Step{}, false
	}
	split, score := pettitt(kept)
	before, after := kept[:split], kept[split:]
	change, ok := shift(before, after)
	if !ok {
		return Step{}, false
	}
	n := float64(len(kept))
	p := min(2*math.Exp(-6*score*score/(n*n*n+n*n)), 1)
	return Step{Index: index[split], Change: change, P: p, N: len(kept)}, true
}

// knownAt returns the finite values and where they stood.
func knownAt(values []float64) (kept []float64, index []int) {
	for i, v := range values {
		if finite(v) {
			kept, index = append(kept, v), append(index, i)
		}
	}
	return kept, index
}

// pettitt returns how many values the likeliest split has before it, and the
// size of Pettitt's statistic there: of all pairs across the split, those that
// fall less those that rise.
func pettitt(values []float64) (split int, score float64) {
	running, best := 0, -1
	for i, v := range values[:len(values)-1] {
		// Taking v across the split compares it with every other value.
		for _, other := range values {
			if v > other {
				running++
			} else if v < other {
				running--
			}
		}
		if size := max(running, -running); size > best {
			split, best = i+1, size
		}
	}
	return split, float64(best)
}

// shift returns the median of all differences across and its interval, of ranks
// with the Mann-Whitney variance. That is not corrected for ties, which would
// make an interval of nothing out of a single value that differs.
func shift(before, after []float64) (Estimate, bool) {
	differences := make([]float64, 0, len(before)*len(after))
	for _, b := range before {
		for _, a := range after {
			differences = append(differences, a-b)
		}
	}
	m, n := float64(len(before)), float64(len(after))
	return rankEstimate(differences, normal95*math.Sqrt(m*n*(m+n+1)/12))
}

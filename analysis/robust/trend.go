package robust

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// fewestForNormal is from how many values on Kendall's score and Pettitt's
// statistic may be taken as normal (Kendall 1975 as cited by Gilbert 1987,
// section 16.4).
const fewestForNormal = 10

// Trend is the outcome of a Mann-Kendall test: do later values tend to be
// larger, or smaller, than earlier ones? TheilSen says by how much.
type Trend struct {
	S        float64 // pairs that rise less pairs that fall
	Variance float64 // of S if there were no trend, corrected for ties
	Z        float64 // S in standard deviations, with continuity correction
	P        float64 // probability of such an S, to either side, without a trend
	Tau      float64 // S by the most it could be, -1 to 1 (Kendall's tau-b); 0 of equal values
	N        int
}

// MannKendall tests values in order of time, evenly spaced or not. False of
// fewer than ten. Its time grows with the square of them.
func MannKendall(values []float64) (Trend, bool) {
	values = known(values)
	if len(values) < fewestForNormal {
		return Trend{}, false
	}
	n := float64(len(values))
	pairs := n * (n - 1) / 2
	untied := pairs - ties(values, func(size float64) float64 { return size * (size - 1) / 2 })
	// stat.Kendall counts ties as pairs that rise.
	falling := float64(falls(slices.Clone(values), make([]float64, len(values))))
	t := Trend{S: untied - 2*falling, N: len(values)}
	t.Variance = (kendallTies(n) - ties(values, kendallTies)) / 18
	if untied > 0 {
		t.Tau = t.S / math.Sqrt(pairs*untied)
	}
	return t.scored(), true
}

// falls sorts values and returns how many pairs of them fell; spare is as long.
func falls(values, spare []float64) (pairs int) {
	middle := len(values) / 2
	if middle == 0 {
		return 0
	}
	earlier, later := values[:middle], values[middle:]
	pairs = falls(earlier, spare[:middle]) + falls(later, spare[middle:])
	sorted := spare[:0]
	for len(earlier) > 0 && len(later) > 0 {
		if later[0] < earlier[0] {
			pairs += len(earlier) // all that are left lie above it
			sorted, later = append(sorted, later[0]), later[1:]
		} else {
			sorted, earlier = append(sorted, earlier[0]), earlier[1:]
		}
	}
	copy(values, append(append(sorted, earlier...), later...))
	return pairs
}

// Correlated makes allowance for values that follow each other: it widens the
// variance as if there were only EffectiveSize of them (Yue and Wang 2004). Give
// the Autocorrelation of the values less their trend; the trend itself would
// count as correlation.
func (t Trend) Correlated(rho float64) Trend {
	t.Variance *= float64(t.N) / EffectiveSize(t.N, rho)
	return t.scored()
}

// scored fills Z and P.
func (t Trend) scored() Trend {
	t.Z = 0
	if t.S != 0 {
		t.Z = (t.S - math.Copysign(1, t.S)) / math.Sqrt(t.Variance)
	}
	t.P = 2 * distuv.UnitNormal.Survival(math.Abs(t.Z))
	return t
}

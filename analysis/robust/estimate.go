package robust

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is a value with its 95 % interval.
type Estimate struct{ Value, Low, High float64 }

// normal95 is how many standard deviations to each side hold 95 %.
var normal95 = distuv.UnitNormal.Quantile(0.975)

// normalScale makes the median deviation of normal noise its standard deviation.
var normalScale = 1 / distuv.UnitNormal.Quantile(0.75)

// Median returns the middle value, false of none.
func Median(values []float64) (float64, bool) {
	kept := known(values)
	if len(kept) == 0 {
		return 0, false
	}
	return middle(kept), true
}

// Deviation returns the median distance from the median, times 1.4826, so that
// of normal noise it is the standard deviation (MAD). False of fewer than three
// values: one or two have no spread to speak of.
func Deviation(values []float64) (float64, bool) {
	distances := known(values)
	if len(distances) < 3 {
		return 0, false
	}
	centre, _ := Median(distances)
	for i, v := range distances {
		distances[i] = math.Abs(v - centre)
	}
	return normalScale * middle(distances), true
}

// known returns a copy without what is not finite.
func known(values []float64) []float64 {
	kept := make([]float64, 0, len(values))
	for _, v := range values {
		if finite(v) {
			kept = append(kept, v)
		}
	}
	return kept
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// middle of values, at least one, which it reorders. gonum's quantiles interpolate
// otherwise: of an even number they do not give the mean of the middle two.
func middle(values []float64) float64 {
	return (nth(values, (len(values)-1)/2) + nth(values, len(values)/2)) / 2
}

// rankEstimate returns the median of values and, as its interval, those so many
// ranks to each side. False when the interval would reach beyond them: there are
// too few for 95 %. It reorders the values.
func rankEstimate(values []float64, ranks float64) (Estimate, bool) {
	n := len(values)
	centre := float64(n) / 2
	low, high := int(math.RoundToEven(centre-ranks))-1, int(math.RoundToEven(centre+ranks))
	if low < 0 || high >= n {
		return Estimate{}, false
	}
	return Estimate{
		Value: middle(values),
		Low:   nth(values, low),
		High:  nth(values, high),
	}, true
}

// nth returns what would stand at index k if the values were sorted, and reorders
// them on the way (Hoare's selection). Of a million pairs that is ten times
// faster than to sort them.
func nth(values []float64, k int) float64 {
	for first, last := 0, len(values)-1; first < last; {
		i, j := partition(values, first, last)
		switch {
		case k <= j:
			last = j
		case k >= i:
			first = i
		default:
			return values[k]
		}
	}
	return values[k]
}

// partition orders values from first to last about one of them: up to j none is
// larger, from i on none is smaller.
func partition(values []float64, first, last int) (i, j int) {
	a, b, c := values[first], values[(first+last)/2], values[last]
	pivot := max(min(a, b), min(max(a, b), c)) // the middle one of three
	i, j = first, last
	for i <= j {
		for values[i] < pivot {
			i++
		}
		for values[j] > pivot {
			j--
		}
		if i <= j {
			values[i], values[j] = values[j], values[i]
			i, j = i+1, j-1
		}
	}
	return i, j
}

// ties sums f over the sizes of groups of equal values.
func ties(values []float64, f func(size float64) float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	sum, size := 0.0, 0.0
	for i, v := range sorted {
		size++
		if i+1 == len(sorted) || sorted[i+1] != v {
			sum += f(size)
			size = 0
		}
	}
	return sum
}

// kendallTies is a group's part of the variance of Kendall's score.
func kendallTies(size float64) float64 { return size * (size - 1) * (2*size + 5) }

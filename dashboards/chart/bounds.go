package chart

import "math"

// greatest is the largest magnitude that is drawn, in the unit of the chart.
// What lies beyond is a fault of a sensor or of arithmetic and would make
// everything else a line at the edge.
const greatest = 1e6

// drawable says whether a value can be shown.
func drawable(values ...float64) bool {
	for _, v := range values {
		if !(math.Abs(v) <= greatest) {
			return false
		}
	}
	return true
}

// bounds are the least and the greatest of some values.
type bounds struct{ low, high float64 }

var noBounds = bounds{math.Inf(1), math.Inf(-1)}

// with widens the bounds to the values that are drawable.
func (b bounds) with(values ...float64) bounds {
	for _, v := range values {
		if drawable(v) {
			b.low, b.high = min(b.low, v), max(b.high, v)
		}
	}
	return b
}

// scaled returns bounds for a scale: at least so far apart, with air, a share
// of their distance, at both ends. Bounds of nothing begin at zero.
func (b bounds) scaled(least, air float64) bounds {
	if b.low > b.high {
		return bounds{0, least}
	}
	if short := least - (b.high - b.low); short > 0 {
		b.low, b.high = b.low-short/2, b.high+short/2
	}
	air *= b.high - b.low
	return bounds{b.low - air, b.high + air}
}

// fromZero returns bounds for bars: zero is among them, and air is left where
// there are values.
func (b bounds) fromZero(least, air float64) bounds {
	low, high := min(b.low, 0), max(b.high, 0)
	if high-low < least {
		high = least
	}
	air *= high - low
	if low < 0 {
		low -= air
	}
	return bounds{low, high + air}
}

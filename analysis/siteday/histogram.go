package siteday

import (
	"maps"
	"math"
	"slices"
)

// Histogram counts weight (seconds) in bins of equal width. The zero value
// with a width is empty; bin k holds values from k*Width up to (k+1)*Width.
type Histogram struct {
	Width  float64         `json:"width"`
	Weight map[int]float64 `json:"weight,omitempty"`
}

// NewHistogram returns an empty histogram.
func NewHistogram(width float64) Histogram {
	return Histogram{Width: width, Weight: map[int]float64{}}
}

// Add counts a value.
func (h *Histogram) Add(value, weight float64) {
	h.Weight[int(math.Floor(value/h.Width))] += weight
}

// Total returns the weight of all values.
func (h Histogram) Total() float64 {
	total := 0.0
	for _, k := range slices.Sorted(maps.Keys(h.Weight)) { // the order of a sum is its last digit
		total += h.Weight[k]
	}
	return total
}

// Quantile returns the value below which the share of the weight lies, taken
// as even within its bin. It is false for an empty histogram.
func (h Histogram) Quantile(share float64) (float64, bool) {
	total := h.Total()
	if total == 0 {
		return 0, false
	}
	keys := slices.Sorted(maps.Keys(h.Weight))
	left := share * total
	for _, k := range keys {
		if w := h.Weight[k]; left <= w {
			return (float64(k) + left/w) * h.Width, true
		}
		left -= h.Weight[k]
	}
	return float64(keys[len(keys)-1]+1) * h.Width, true
}

func (h *Histogram) add(o Histogram) {
	if h.Weight == nil {
		*h = NewHistogram(o.Width)
	}
	for k, w := range o.Weight {
		h.Weight[k] += w
	}
}

package trace

import (
	"math"
	"slices"
	"time"

	"coldweek/ingest"
)

// clockQuantities are those whose samples cut the time into intervals; the
// slower ones only have to be averaged over them.
var clockQuantities = []ingest.Quantity{
	ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.HeatOutput,
}

// registerQuantities give the clock when nothing better is there.
var registerQuantities = []ingest.Quantity{ingest.HeatRegister, ingest.ElectricityRegister}

// maxCoalesceMS joins samples that belong together although each came with a
// message of its own.
const maxCoalesceMS = 1000

// edges returns the moments at which intervals begin and end.
func edges(columns map[ingest.Channel]ingest.Column, fromMS, toMS int64, marks []time.Time) []int64 {
	if toMS <= fromMS {
		return nil
	}
	fixed := []int64{fromMS, toMS}
	for _, m := range marks {
		if ms := m.UnixMilli(); ms > fromMS && ms < toMS {
			fixed = append(fixed, ms)
		}
	}
	slices.Sort(fixed)
	fixed = slices.Compact(fixed)
	sampled := clock(columns, clockQuantities, fromMS, toMS)
	if len(sampled) == 0 {
		sampled = clock(columns, registerQuantities, fromMS, toMS)
	}
	if len(sampled) == 0 {
		sampled = clock(columns, ingest.Quantities(), fromMS, toMS)
	}
	return union(coalesce(sampled, maxCoalesceMS), fixed)
}

func clock(columns map[ingest.Channel]ingest.Column, quantities []ingest.Quantity, fromMS, toMS int64) []int64 {
	var all []int64
	for _, q := range quantities {
		for ch, c := range columns {
			if ch.Quantity() != q {
				continue
			}
			lo, _ := slices.BinarySearch(c.UnixMS, fromMS)
			hi, _ := slices.BinarySearch(c.UnixMS, toMS)
			if part := c.UnixMS[lo:hi]; !slices.Equal(all, part) {
				all = union(all, part)
			}
		}
	}
	return all
}

// crossings returns the edges and, between them, the moments at which the
// difference of flow and return changes its sign, so that heat drawn and heat
// given never share an interval. Noise about zero makes none.
func crossings(edgeMS []int64, flow, ret ingest.Column, maxGapMS int64) []int64 {
	const noiseK = 0.5
	out := make([]int64, 0, len(edgeMS)+64)
	before := math.NaN()
	flowAt, returnAt := cursor{c: flow, maxGapMS: maxGapMS}, cursor{c: ret, maxGapMS: maxGapMS}
	for i, ms := range edgeMS {
		diffK := flowAt.value(ms) - returnAt.value(ms)
		if before*diffK < 0 && max(math.Abs(before), math.Abs(diffK)) > noiseK {
			from := edgeMS[i-1]
			at := from + int64(math.Round(float64(ms-from)*before/(before-diffK)))
			if at > from && at < ms {
				out = append(out, at)
			}
		}
		out = append(out, ms)
		before = diffK
	}
	return out
}

// cursor reads a column at ascending times, straight between samples.
type cursor struct {
	c        ingest.Column
	maxGapMS int64
	next     int // first sample at or after the time asked for
}

func (r *cursor) value(ms int64) float64 {
	for r.next < r.c.Len() && r.c.UnixMS[r.next] < ms {
		r.next++
	}
	switch {
	case r.next == r.c.Len():
		return math.NaN()
	case r.c.UnixMS[r.next] == ms:
		return r.c.Value[r.next]
	case r.next == 0:
		return math.NaN()
	}
	a, b := r.next-1, r.next
	spanMS := r.c.UnixMS[b] - r.c.UnixMS[a]
	if spanMS > r.maxGapMS {
		return math.NaN()
	}
	share := float64(ms-r.c.UnixMS[a]) / float64(spanMS)
	return r.c.Value[a] + share*(r.c.Value[b]-r.c.Value[a])
}

// union merges two ascending lists without repeats into a new one.
func union(a, b []int64) []int64 {
	merged := make([]int64, 0, len(a)+len(b))
	for len(a) > 0 && len(b) > 0 {
		switch {
		case a[0] < b[0]:
			merged, a = append(merged, a[0]), a[1:]
		case b[0] < a[0]:
			merged, b = append(merged, b[0]), b[1:]
		default:
			merged, a, b = append(merged, a[0]), a[1:], b[1:]
		}
	}
	return append(append(merged, a...), b...)
}

// coalesce keeps the last of each cluster of moments that lie within the limit
// of the cluster's first, or within a quarter of the usual spacing if that is
// less.
func coalesce(ms []int64, limitMS int64) []int64 {
	if len(ms) < 2 {
		return ms
	}
	limitMS = min(limitMS, upperQuartileSpacingMS(ms)/4)
	kept := make([]int64, 0, len(ms))
	first := ms[0]
	for i, at := range ms {
		if i > 0 && at-first <= limitMS {
			kept[len(kept)-1] = at
			continue
		}
		first, kept = at, append(kept, at)
	}
	return kept
}

// upperQuartileSpacingMS is the spacing of whole samples even when most
// neighbours are parts of one.
func upperQuartileSpacingMS(ms []int64) int64 {
	spacing := spacings(ms)
	return spacing[(len(spacing)-1)*9/10]
}

// spacings returns the sorted distances of neighbours, from a thousand of them
// or so.
func spacings(ms []int64) []int64 {
	step := max(len(ms)/1000, 1)
	spacing := make([]int64, 0, len(ms)/step+1)
	for i := 1; i < len(ms); i += step {
		spacing = append(spacing, ms[i]-ms[i-1])
	}
	slices.Sort(spacing)
	return spacing
}

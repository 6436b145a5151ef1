package trace

import (
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
	return union(coalesce(sampled, maxCoalesceMS), fixed)
}

func clock(columns map[ingest.Channel]ingest.Column, quantities []ingest.Quantity, fromMS, toMS int64) []int64 {
	var all []int64
	for _, q := range quantities {
		c, ok := columns[ingest.Channel(q)]
		if !ok {
			continue
		}
		lo, _ := slices.BinarySearch(c.UnixMS, fromMS)
		hi, _ := slices.BinarySearch(c.UnixMS, toMS)
		if part := c.UnixMS[lo:hi]; !slices.Equal(all, part) {
			all = union(all, part)
		}
	}
	return all
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

// spacings returns the sorted distances of neighbours, from a few thousand of
// them at most.
func spacings(ms []int64) []int64 {
	step := max(len(ms)/4000, 1)
	spacing := make([]int64, 0, len(ms)/step+1)
	for i := 1; i < len(ms); i += step {
		spacing = append(spacing, ms[i]-ms[i-1])
	}
	slices.Sort(spacing)
	return spacing
}

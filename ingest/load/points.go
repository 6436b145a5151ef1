package load

import (
	"cmp"
	"slices"
	"time"

	"coldweek/ingest"
)

// points are the values of one column in one batch, in the order of the file.
type points struct {
	unixMS []int64
	values []float64
}

func (p *points) add(unixMS int64, value float64) {
	p.unixMS = append(p.unixMS, unixMS)
	p.values = append(p.values, value)
}

func (p *points) clear() { p.unixMS, p.values = p.unixMS[:0], p.values[:0] }

func (p *points) isAscending() bool {
	for i := 1; i < len(p.unixMS); i++ {
		if p.unixMS[i-1] >= p.unixMS[i] {
			return false
		}
	}
	return true
}

// appendTo adds the points to a batch in ascending time. Of several at one time
// the last in the file stays.
func (p *points) appendTo(batch []ingest.Reading, site string, c ingest.Channel) []ingest.Reading {
	add := func(i int) {
		batch = append(batch, ingest.Reading{Site: site, Channel: c, Time: time.UnixMilli(p.unixMS[i]).UTC(), Value: p.values[i]})
	}
	if p.isAscending() {
		for i := range p.unixMS {
			add(i)
		}
		return batch
	}
	order := make([]int, len(p.unixMS))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p.unixMS[a], p.unixMS[b]) })
	for n, i := range order {
		if n+1 == len(order) || p.unixMS[order[n+1]] != p.unixMS[i] {
			add(i)
		}
	}
	return batch
}

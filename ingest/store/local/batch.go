package local

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

const msPerDay = 24 * 60 * 60 * 1000

// hourOf returns the hour of a time, counted from 1970-01-01.
func hourOf(unixMS int64) int64 {
	const hourMS = 3_600_000
	hour := unixMS / hourMS
	if unixMS%hourMS < 0 {
		hour--
	}
	return hour
}

// dayOf returns the UTC day of a time, counted from 1970-01-01.
func dayOf(unixMS int64) int64 {
	day := unixMS / msPerDay
	if unixMS%msPerDay < 0 {
		day--
	}
	return day
}

// startOf returns the first millisecond of a UTC day.
func startOf(day int64) int64 { return day * msPerDay }

// points are readings of one series in ascending time.
type points struct {
	ms     []int64
	values []float64
}

func (p points) len() int { return len(p.ms) }

func (p *points) add(ms int64, value float64) {
	p.ms = append(p.ms, ms)
	p.values = append(p.values, value)
}

func (p points) slice(from, to int) points {
	return points{p.ms[from:to], p.values[from:to]}
}

// between returns the part with from <= time < to.
func (p points) between(fromMS, toMS int64) points {
	from, _ := slices.BinarySearch(p.ms, fromMS)
	to, _ := slices.BinarySearch(p.ms, toMS)
	return p.slice(from, max(from, to))
}

// over returns both, where a time has two values that of p.
func (p points) over(base points) points {
	if p.len() == 0 {
		return base
	}
	if base.len() == 0 || base.ms[base.len()-1] < p.ms[0] {
		return points{append(base.ms, p.ms...), append(base.values, p.values...)}
	}
	out := points{make([]int64, 0, base.len()+p.len()), make([]float64, 0, base.len()+p.len())}
	i := 0
	for j, ms := range p.ms {
		for i < base.len() && base.ms[i] < ms {
			out.add(base.ms[i], base.values[i])
			i++
		}
		if i < base.len() && base.ms[i] == ms {
			i++
		}
		out.add(ms, p.values[j])
	}
	return points{append(out.ms, base.ms[i:]...), append(out.values, base.values[i:]...)}
}

// without returns the points of p that base does not have with that value.
func (p points) without(base points) points {
	if base.len() == 0 {
		return p
	}
	var out points
	i := 0
	for j, ms := range p.ms {
		for i < base.len() && base.ms[i] < ms {
			i++
		}
		if i == base.len() || base.ms[i] != ms || base.values[i] != p.values[j] {
			out.add(ms, p.values[j])
		}
	}
	return out
}

// portion is what a batch holds of one series and UTC day.
type portion struct {
	name seriesName
	day  int64
	points
}

// divide sorts a batch into portions by site, day and channel. Of two readings
// at the same time the later in the batch stays.
func divide(batch []ingest.Reading) ([]portion, error) {
	columns := make(map[seriesName]*points)
	for i, r := range batch {
		if err := store.CheckReading(r); err != nil {
			return nil, fmt.Errorf("reading %d of %d: %w", i, len(batch), err)
		}
		name := seriesName{r.Site, r.Channel}
		c := columns[name]
		if c == nil {
			c = new(points)
			columns[name] = c
		}
		c.add(r.Time.UnixMilli(), r.Value)
	}
	var portions []portion
	for name, c := range columns {
		portions = appendDays(portions, name, c.sorted())
	}
	slices.SortFunc(portions, func(a, b portion) int {
		return cmp.Or(cmp.Compare(a.name.site, b.name.site), cmp.Compare(a.day, b.day),
			cmp.Compare(a.name.channel, b.name.channel))
	})
	return portions, nil
}

// sorted returns the points in ascending time, the last of equal times.
func (p points) sorted() points {
	ascending := true
	for i := 1; i < p.len() && ascending; i++ {
		ascending = p.ms[i-1] < p.ms[i]
	}
	if ascending {
		return p
	}
	order := make([]int, p.len())
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p.ms[a], p.ms[b]) })
	var out points
	for _, i := range order {
		if n := out.len(); n > 0 && out.ms[n-1] == p.ms[i] {
			out.values[n-1] = p.values[i]
			continue
		}
		out.add(p.ms[i], p.values[i])
	}
	return out
}

func appendDays(portions []portion, name seriesName, p points) []portion {
	for p.len() > 0 {
		day := dayOf(p.ms[0])
		part := p.between(p.ms[0], startOf(day+1))
		portions = append(portions, portion{name: name, day: day, points: part})
		p = p.slice(part.len(), p.len())
	}
	return portions
}

// ceilMS returns the first millisecond not before t, within what can be kept.
func ceilMS(t time.Time) int64 {
	year := t.UTC().Year()
	switch {
	case year < store.FirstYear:
		return math.MinInt64
	case year > store.LastYear:
		return math.MaxInt64
	}
	ms := t.UnixMilli()
	if t.Nanosecond()%1e6 != 0 {
		ms++
	}
	return ms
}

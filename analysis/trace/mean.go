package trace

import (
	"math"
	"time"

	"coldweek/ingest"
)

// A value is good until the next one, but for no longer than three times the
// channel's usual spacing or two minutes, whichever is more (common practice,
// no source).
const (
	gapSpacings = 3
	minMaxGapMS = int64(2 * time.Minute / time.Millisecond)
)

// maxGapMS is the longest distance of two samples that still says something
// about the time between them.
func (t *Trace) maxGapMS(c ingest.Column) int64 {
	if d, ok := t.opt.MaxGap[c.Channel]; ok {
		return d.Milliseconds()
	}
	if c.Len() < 2 {
		return minMaxGapMS
	}
	spacing := spacings(c.UnixMS)
	return max(gapSpacings*spacing[(len(spacing)-1)/2], minMaxGapMS)
}

// MaxGap returns how long a value of the channel says something about the time
// after it; 0 when the trace has no such channel.
func (t *Trace) MaxGap(ch ingest.Channel) time.Duration {
	c, ok := t.columns[ch]
	if !ok {
		return 0
	}
	return time.Duration(t.maxGapMS(c)) * time.Millisecond
}

// intervalMeans returns the mean of the column over each interval between
// edges: the integral of its straight or held course by the duration, NaN
// where any part of the interval is not known.
func intervalMeans(c ingest.Column, between ingest.Between, maxGapMS int64, edgeMS []int64) []float64 {
	means := make([]float64, max(len(edgeMS)-1, 0))
	k := 0 // the last sample at or before the moment looked at
	for i := range means {
		from, to := edgeMS[i], edgeMS[i+1]
		for k+1 < len(c.UnixMS) && c.UnixMS[k+1] <= from {
			k++
		}
		if k+1 < len(c.UnixMS) && c.UnixMS[k] == from && c.UnixMS[k+1] == to {
			means[i] = meanBetween(c, between, maxGapMS, k) // sampled by the clock itself
			continue
		}
		means[i] = meanOver(c, between, maxGapMS, k, from, to)
	}
	return means
}

// meanBetween is the mean from sample k to the next.
func meanBetween(c ingest.Column, between ingest.Between, maxGapMS int64, k int) float64 {
	switch {
	case c.UnixMS[k+1]-c.UnixMS[k] > maxGapMS:
		return math.NaN()
	case between == ingest.Linear:
		return (c.Value[k] + c.Value[k+1]) / 2
	}
	return c.Value[k]
}

// meanOver integrates from sample k on, which must not lie after from.
func meanOver(c ingest.Column, between ingest.Between, maxGapMS int64, k int, from, to int64) float64 {
	if c.UnixMS[k] > from {
		return math.NaN()
	}
	area, at := 0.0, from
	for at < to {
		if k+1 >= len(c.UnixMS) {
			return math.NaN()
		}
		begin, end := c.UnixMS[k], c.UnixMS[k+1]
		if end-begin > maxGapMS {
			return math.NaN()
		}
		until := min(end, to)
		value := c.Value[k]
		if between == ingest.Linear {
			slope := (c.Value[k+1] - c.Value[k]) / float64(end-begin)
			value += slope * (float64(at-begin) + float64(until-begin)) / 2
		}
		area += value * float64(until-at)
		at = until
		k++
	}
	return area / float64(to-from)
}

package influx

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

// sample is a reading on its way.
type sample struct {
	site    string
	channel ingest.Channel
	ms      int64
	value   float64
}

func (a sample) sameLine(b sample) bool { return a.ms == b.ms && a.site == b.site }

// samples are sorted by site, time and channel, at most one of each.
type samples []sample

// gather sorts the readings of batches; of two for the same place the later
// stays.
func gather(batches []journal.Batch) samples {
	var all samples
	for _, batch := range batches {
		for _, r := range batch.Readings {
			all = append(all, sample{r.Site, r.Channel, r.Time.UnixMilli(), r.Value})
		}
	}
	return all.sorted()
}

func (s samples) sorted() samples {
	slices.SortStableFunc(s, func(a, b sample) int {
		return cmp.Or(cmp.Compare(a.site, b.site), cmp.Compare(a.ms, b.ms), cmp.Compare(a.channel, b.channel))
	})
	kept := s[:0]
	for i, one := range s {
		if i+1 < len(s) && one.sameLine(s[i+1]) && one.channel == s[i+1].channel {
			continue
		}
		kept = append(kept, one)
	}
	return kept
}

// lines returns how many points the samples make.
func (s samples) lines() int {
	n := 0
	for i := range s {
		if i == 0 || !s[i].sameLine(s[i-1]) {
			n++
		}
	}
	return n
}

// oneChannel says that each line holds one sample, all of one channel.
func (s samples) oneChannel() bool {
	for _, one := range s {
		if one.channel != s[0].channel {
			return false
		}
	}
	return true
}

// apart splits off the samples of the field named; without one of that name,
// those of each channel.
func (s samples) apart(field string) []samples {
	var of, others samples
	for _, one := range s {
		if fieldOf(one.channel) == field {
			of = append(of, one)
		} else {
			others = append(others, one)
		}
	}
	if len(of) > 0 {
		return []samples{of, others}
	}
	return s.byChannel()
}

func (s samples) byChannel() []samples {
	parts := make(map[ingest.Channel]samples)
	for _, one := range s {
		parts[one.channel] = append(parts[one.channel], one)
	}
	return slices.Collect(maps.Values(parts))
}

// halves splits the samples where a line ends, those of one line by channel.
func (s samples) halves() []samples {
	middle := len(s) / 2
	for middle > 0 && s[middle].sameLine(s[middle-1]) {
		middle--
	}
	for middle == 0 || middle < len(s) && s[middle].sameLine(s[middle-1]) {
		middle++
	}
	if middle == len(s) {
		return s.byChannel()
	}
	return []samples{s[:middle], s[middle:]}
}

// without returns the samples that were not refused.
func (s samples) without(refused []refusedSample) samples {
	if len(refused) == 0 {
		return s
	}
	gone := make(map[sample]bool, len(refused))
	for _, r := range refused {
		gone[r.sample] = true
	}
	return slices.DeleteFunc(slices.Clone(s), func(one sample) bool { return gone[one] })
}

// encode returns the line protocol of the samples.
func (s samples) encode() ([]byte, error) {
	e := newEncoder(48 * len(s))
	fields := make(map[ingest.Channel]string)
	for i, one := range s {
		if i == 0 || !one.sameLine(s[i-1]) {
			if i > 0 {
				e.EndLine(time.UnixMilli(s[i-1].ms))
			}
			e.StartLine("reading")
			e.AddTag("site", escapeName(one.site))
		}
		field, ok := fields[one.channel]
		if !ok {
			field = fieldOf(one.channel)
			fields[one.channel] = field
		}
		e.AddField(field, float(one.value))
	}
	if len(s) > 0 {
		e.EndLine(time.UnixMilli(s[len(s)-1].ms))
	}
	return e.done()
}

// encoder writes line protocol with times in milliseconds.
type encoder struct{ lineprotocol.Encoder }

func newEncoder(room int) *encoder {
	e := new(encoder)
	e.SetBuffer(make([]byte, 0, room))
	e.SetPrecision(lineprotocol.Millisecond)
	return e
}

func (e *encoder) done() ([]byte, error) {
	if err := e.Err(); err != nil {
		return nil, fmt.Errorf("line protocol: %w", err)
	}
	return e.Bytes(), nil
}

// float makes a field's value of a finite number.
func float(v float64) lineprotocol.Value { return lineprotocol.MustNewValue(v) }

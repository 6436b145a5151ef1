package job_test

import (
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// shelf is a store in memory that holds a simulated plant's readings.
type shelf struct {
	columns  []ingest.Column
	days     map[string]store.Day
	findings []store.Finding
}

func newShelf(columns []ingest.Column) *shelf {
	s := &shelf{days: map[string]store.Day{}}
	for _, c := range columns {
		s.columns = append(s.columns, inOrder(c))
	}
	return s
}

func (s *shelf) Scan(_ context.Context, _ string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	var cut []ingest.Column
	for _, ch := range channels {
		i := slices.IndexFunc(s.columns, func(c ingest.Column) bool { return c.Channel == ch })
		c := s.columns[i]
		first, _ := slices.BinarySearch(c.UnixMS, from.UnixMilli())
		last, _ := slices.BinarySearch(c.UnixMS, to.UnixMilli())
		cut = append(cut, ingest.Column{Channel: ch, UnixMS: c.UnixMS[first:last], Value: c.Value[first:last]})
	}
	return cut, nil
}

func (s *shelf) Extents(context.Context, string) ([]store.Extent, error) {
	var extents []store.Extent
	for _, c := range s.columns {
		extents = append(extents, store.Extent{Channel: c.Channel, First: time.UnixMilli(c.UnixMS[0]), Last: time.UnixMilli(c.UnixMS[c.Len()-1])})
	}
	return extents, nil
}

func (s *shelf) Revisions(_ context.Context, _ string, periods []store.Period) ([]int64, error) {
	return slices.Repeat([]int64{1}, len(periods)), nil
}

func (s *shelf) PutDays(_ context.Context, days []store.Day) error {
	for _, d := range days {
		s.days[d.Date] = d
	}
	return nil
}

func (s *shelf) Days(_ context.Context, _, fromDate, toDate string) ([]store.Day, error) {
	var found []store.Day
	for date, d := range s.days {
		if date >= fromDate && date < toDate {
			found = append(found, d)
		}
	}
	slices.SortFunc(found, func(a, b store.Day) int { return strings.Compare(a.Date, b.Date) })
	return found, nil
}

func (s *shelf) PutFindings(_ context.Context, findings []store.Finding) error {
	for _, f := range findings {
		s.findings = slices.DeleteFunc(s.findings, func(o store.Finding) bool { return o.Kind == f.Kind && o.Since.Equal(f.Since) })
		s.findings = append(s.findings, f)
	}
	return nil
}

func (s *shelf) Findings(_ context.Context, _ string, from, to time.Time) ([]store.Finding, error) {
	var found []store.Finding
	for _, f := range s.findings {
		if f.Since.Before(to) && (f.Until.IsZero() || f.Until.After(from)) {
			found = append(found, f)
		}
	}
	slices.SortFunc(found, func(a, b store.Finding) int { return a.Since.Compare(b.Since) })
	return found, nil
}

func (s *shelf) AddAction(context.Context, store.Action) error { return nil }

func (s *shelf) Actions(context.Context, string) ([]store.Action, error) { return nil, nil }

// every returns the times from one to another at a step, the last included.
func every(from, to time.Time, step time.Duration) []time.Time {
	var at []time.Time
	for now := from; !now.After(to); now = now.Add(step) {
		at = append(at, now)
	}
	return at
}

// inOrder is a column as a store keeps it: a clock that jumps gives times out of
// order, and some twice.
func inOrder(c ingest.Column) ingest.Column {
	if slices.IsSorted(c.UnixMS) {
		return c
	}
	at := make(map[int64]float64, c.Len())
	for i, ms := range c.UnixMS {
		at[ms] = c.Value[i]
	}
	sorted := ingest.Column{Channel: c.Channel, UnixMS: slices.Sorted(maps.Keys(at))}
	for _, ms := range sorted.UnixMS {
		sorted.Value = append(sorted.Value, at[ms])
	}
	return sorted
}

// Package playtest plays simulated plants for tests of what is made of site days.
package playtest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// Played is what a simulated plant published, its site days, and what really
// happened.
type Played struct {
	Columns []ingest.Column
	Days    []siteday.Day
	Truth   rig.Truth
}

// Play runs a plant for whole local days.
func Play(t testing.TB, plant rig.Plant, from time.Time, days int) Played {
	t.Helper()
	zone, err := time.LoadLocation(plant.TimeZone)
	require.NoError(t, err)
	begin := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
	r, err := rig.New(plant, begin)
	require.NoError(t, err)
	p := Played{Columns: r.Columns(begin.AddDate(0, 0, days))}
	p.Truth = r.Truth()
	for d := range days {
		from, to := begin.AddDate(0, 0, d), begin.AddDate(0, 0, d+1)
		tr, op := p.Look(from, to)
		p.Days = append(p.Days, siteday.Sum(tr, op, from.Format(time.DateOnly), from, to))
	}
	return p
}

// Look reads a span of time closely, with hours beyond it on both sides.
func (p *Played) Look(from, to time.Time) (*trace.Trace, *operation.Operation) {
	tr := trace.Build(p.Columns, from.Add(-6*time.Hour), to.Add(3*time.Hour), trace.Options{Marks: []time.Time{from, to}})
	return tr, operation.Detect(tr)
}

// Ran is how long the compressor ran between two times.
func Ran(runs []rig.Run, from, to time.Time) time.Duration {
	var sum time.Duration
	for _, r := range runs {
		sum += max(0, siteday.Earlier(r.To, to).Sub(siteday.Later(r.From, from)))
	}
	return sum
}

package flowrate_test

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

// played is what a simulated plant published, and its site days.
type played struct {
	columns []ingest.Column
	days    []siteday.Day
	truth   rig.Truth
}

// bareSensors is the least that gives heat and electricity.
var bareSensors = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp}

// play runs a plant for whole local days.
func play(t testing.TB, plant rig.Plant, from time.Time, days int) played {
	t.Helper()
	zone, err := time.LoadLocation(plant.TimeZone)
	require.NoError(t, err)
	begin := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
	r, err := rig.New(plant, begin)
	require.NoError(t, err)
	p := played{columns: r.Columns(begin.AddDate(0, 0, days))}
	p.truth = r.Truth()
	for d := range days {
		from, to := begin.AddDate(0, 0, d), begin.AddDate(0, 0, d+1)
		tr, op := p.look(from, to)
		p.days = append(p.days, siteday.Sum(tr, op, from.Format(time.DateOnly), from, to))
	}
	return p
}

// look reads a span of time closely, with hours beyond it on both sides.
func (p played) look(from, to time.Time) (*trace.Trace, *operation.Operation) {
	tr := trace.Build(p.columns, from.Add(-6*time.Hour), to.Add(3*time.Hour), trace.Options{Marks: []time.Time{from, to}})
	return tr, operation.Detect(tr)
}

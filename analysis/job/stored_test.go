package job_test

import (
	"context"
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// counting tells how many days were read from readings.
type counting struct {
	*local.Store
	scans int
}

func (c *counting) Scan(ctx context.Context, id string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	c.scans++
	return c.Store.Scan(ctx, id, channels, from, to)
}

// TestDaysAreReadOnceAndAgainWhenTheyChanged: a stored day serves until its
// readings, what the record says of them, or the definition of a day change.
func TestDaysAreReadOnceAndAgainWhenTheyChanged(t *testing.T) {
	ctx := t.Context()
	st, err := local.Open(ctx, filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.Close()) })
	counted := &counting{Store: st}

	plant := rig.Random(4)
	plant.Metering.Quantities = bareSensors
	plant.TimeZone = "Europe/London" // UTC in winter, so that days of both are the same
	played := play(t, plant, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 4)
	record := plant.Record()
	appendColumns(t, st, record.ID, played.columns)
	analyse := func(record *site.Record) (*job.Result, int) {
		t.Helper()
		before := counted.scans
		r, err := job.Analyse(ctx, counted, record, played.window, nil)
		require.NoError(t, err)
		return r, counted.scans - before
	}

	first, scans := analyse(record)
	assert.Equal(t, 4, scans)
	inMemory := played.analyse(t)
	assert.Equal(t, inMemory.Heat, first.Heat, "a store changes nothing")
	assert.Equal(t, inMemory.Days, first.Days)

	again, scans := analyse(record)
	assert.Zero(t, scans)
	assert.JSONEq(t, encode(t, first), encode(t, again), "stored days give the same answer")

	// A late reading in the middle of the third day.
	late := ingest.Reading{Site: record.ID, Channel: "room_temp/attic", Time: played.window.From.Add(60 * time.Hour), Value: 18}
	_, err = st.Append(ctx, []ingest.Reading{late})
	require.NoError(t, err)
	_, scans = analyse(record)
	assert.GreaterOrEqual(t, scans, 1, "the day of the late reading")
	assert.LessOrEqual(t, scans, 3, "and at most its neighbours, which look over midnight")

	require.Equal(t, "flow", record.Metering.HeatMeter.Position)
	inReturn := *record
	inReturn.Metering = &site.Metering{HeatMeter: &site.HeatMeter{Position: "return"}}
	moved, scans := analyse(&inReturn)
	assert.Equal(t, 4, scans, "the record moved the flow sensor")
	assert.NotEqual(t, *first.Heat.NetKWh, *moved.Heat.NetKWh)

	_, scans = analyse(record)
	require.Equal(t, 4, scans)
	age(t, st, record.ID, played.window)
	_, scans = analyse(record)
	assert.Equal(t, 4, scans, "days of an older definition")
}

func encode(t *testing.T, r *job.Result) string {
	t.Helper()
	text, err := json.Marshal(r)
	require.NoError(t, err)
	return string(text)
}

// age gives stored days the definition before the present one.
func age(t *testing.T, st *local.Store, id string, w job.Window) {
	t.Helper()
	days, err := st.Days(t.Context(), id, w.From.Format(time.DateOnly), w.To.Format(time.DateOnly))
	require.NoError(t, err)
	require.NotEmpty(t, days)
	older := make([]store.Day, len(days))
	for i, d := range days {
		d.Definition--
		older[i] = d
	}
	require.NoError(t, st.PutDays(t.Context(), older))
}

func appendColumns(t *testing.T, st *local.Store, id string, columns []ingest.Column) {
	t.Helper()
	for _, c := range columns {
		batch := make([]ingest.Reading, c.Len())
		for i := range batch {
			batch[i] = ingest.Reading{Site: id, Channel: c.Channel, Time: time.UnixMilli(c.UnixMS[i]), Value: c.Value[i]}
		}
		_, err := st.Append(t.Context(), batch)
		require.NoError(t, err)
	}
}

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
	"coldweek/ingest/store/local"
)

// plainStore holds a plant's readings of some spans of days.
func plainStore(t testing.TB, plant rig.Plant, spans ...time.Time) *local.Store {
	t.Helper()
	st, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.Close()) })
	for _, from := range spans {
		for _, c := range play(t, plant, from, 31).columns {
			batch := make([]ingest.Reading, c.Len())
			for i := range batch {
				batch[i] = ingest.Reading{Site: plant.ID, Channel: c.Channel, Time: time.UnixMilli(c.UnixMS[i]), Value: c.Value[i]}
			}
			_, err := st.Append(t.Context(), batch)
			require.NoError(t, err)
		}
	}
	return st
}

func minutely() rig.Plant {
	plant := rig.Houses()[0]
	plant.Metering.Interval, plant.Step = time.Minute, 3*time.Second
	return plant
}

// TestComparedSaysWhatAnalyseSays of each month, but for what it leaves out.
func TestComparedSaysWhatAnalyseSays(t *testing.T) {
	day := func(year int, month time.Month) time.Time { return time.Date(year, month, 1, 0, 0, 0, 0, time.UTC) }
	plant := minutely()
	st, record := plainStore(t, plant, day(2025, 1), day(2025, 12), day(2026, 1)), plant.Record()
	months, err := job.Compared(t.Context(), st, record, job.Month(2026, 1, record.Zone()), nil)
	require.NoError(t, err)
	for _, m := range []struct {
		got         *job.Result
		year, month int
	}{{months.This, 2026, 1}, {months.Last, 2025, 12}, {months.YearAgo, 2025, 1}} {
		want := analysedMonth(t.Context(), t, st, plant, m.year, time.Month(m.month))
		got := keyed(t, m.got)
		for _, key := range []string{"site", "from", "to", "coverage", "heat", "electricity", "efficiency", "defrost", "cycling", "hot_water", "comfort", "days"} {
			assert.Equal(t, want[key], got[key], "%d-%02d: %s", m.year, m.month, key)
		}
		if m.got == months.This {
			assert.Equal(t, want["heat_loss"], got["heat_loss"])
		}
	}
	against := job.Month(2025, 1, record.Zone())
	ahead, err := job.LookAhead(t.Context(), st, record, job.Month(2026, 1, record.Zone()), &against, nil)
	require.NoError(t, err)
	assert.Equal(t, keyed(t, ahead.Comparison), keyed(t, months.AgainstYearAgo))
	assert.Equal(t, keyed(t, ahead.Cost), keyed(t, months.This.Cost))
}

func analysedMonth(ctx context.Context, t *testing.T, st *local.Store, plant rig.Plant, year int, month time.Month) map[string]any {
	t.Helper()
	record := plant.Record()
	r, err := job.Analyse(ctx, st, record, job.Month(year, month, record.Zone()), nil)
	require.NoError(t, err)
	return keyed(t, r)
}

func keyed(t *testing.T, value any) map[string]any {
	t.Helper()
	text, err := json.Marshal(value)
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(text, &m))
	return m
}

func BenchmarkComparedFromStoredDays(b *testing.B) {
	day := func(year int, month time.Month) time.Time { return time.Date(year, month, 1, 0, 0, 0, 0, time.UTC) }
	plant := minutely()
	st, record := plainStore(b, plant, day(2025, 1), day(2025, 12), day(2026, 1)), plant.Record()
	month := job.Month(2026, 1, record.Zone())
	_, err := job.Compared(b.Context(), st, record, month, nil)
	require.NoError(b, err)
	for b.Loop() {
		_, err := job.Compared(b.Context(), st, record, month, nil)
		require.NoError(b, err)
	}
}

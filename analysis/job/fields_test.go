package job_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

// TestFieldsOfDaysAddUpToTheAnswer: what other tools draw from the store is what
// the answer for the whole window says.
func TestFieldsOfDaysAddUpToTheAnswer(t *testing.T) {
	ctx := t.Context()
	st, err := local.Open(ctx, filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, st.Close()) })
	played := play(t, rig.Houses()[1], time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC), 3)
	record := played.plant.Record()
	appendColumns(t, st, record.ID, played.columns)
	summed := func() (*job.Result, map[string]float64) {
		t.Helper()
		r, err := job.Analyse(ctx, st, record, played.window, nil)
		require.NoError(t, err)
		days, err := st.Days(ctx, record.ID, played.window.From.Format(time.DateOnly), played.window.To.Format(time.DateOnly))
		require.NoError(t, err)
		require.Len(t, days, 3)
		sums := map[string]float64{}
		for _, day := range days {
			for name, value := range day.Fields {
				sums[name] += value
			}
		}
		return r, sums
	}

	r, sums := summed()
	for name, want := range map[string]*float64{
		"net_kwh": r.Heat.NetKWh, "space_kwh": r.Heat.SpaceKWh, "hot_water_kwh": r.Heat.HotWaterKWh, "defrost_drawn_kwh": r.Heat.DefrostDrawnKWh,
		"electricity_kwh": r.Electricity.TotalKWh, "space_electricity_kwh": r.Electricity.SpaceKWh,
		"hot_water_electricity_kwh": r.Electricity.HotWaterKWh, "defrost_electricity_kwh": r.Electricity.DefrostKWh,
		"standby_electricity_kwh": r.Electricity.StandbyKWh, "backup_electricity_kwh": r.Electricity.BackupKWh,
		"run_hours": r.Cycling.RunHours, "defrost_minutes": r.Defrost.Minutes,
	} {
		if want == nil {
			assert.NotContains(t, sums, name, "not known")
			continue
		}
		assert.InDelta(t, *want, sums[name], 1e-6, name)
	}
	assert.InDelta(t, *r.Cycling.Starts, sums["starts"], 0, "starts")
	assert.NotZero(t, sums["short_runs"], "this house cycles")
	// A run over midnight is whole in the window and in neither day.
	assert.InDelta(t, *r.Cycling.ShortRuns, sums["short_runs"], 2, "short runs")

	record.Limits = &site.Limits{ShortRunMinutes: new(1.0)}
	_, sums = summed()
	assert.Zero(t, sums["short_runs"], "no run is shorter than a minute")
}

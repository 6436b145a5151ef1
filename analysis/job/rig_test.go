package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// played is a simulated plant: what it published and what really happened.
type played struct {
	plant   rig.Plant
	columns []ingest.Column
	truth   rig.Truth
	window  job.Window
}

// play runs a plant for whole local days and hours beyond on both sides, so
// that the window itself has no cut ends.
func play(t testing.TB, plant rig.Plant, from time.Time, days int) played {
	t.Helper()
	zone, err := time.LoadLocation(plant.TimeZone)
	require.NoError(t, err)
	begin := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
	end := begin.AddDate(0, 0, days)
	r, err := rig.New(plant, begin)
	require.NoError(t, err)
	columns := r.Columns(end)
	return played{plant: plant, columns: columns, truth: r.Truth(), window: job.Window{From: begin, To: end}}
}

func (p played) analyse(t testing.TB) *job.Result {
	t.Helper()
	result, err := job.AnalyseColumns(p.plant.Record(), p.columns, p.window)
	require.NoError(t, err)
	return result
}

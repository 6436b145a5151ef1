package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest/rig"
)

// TestLookShowsTheLastDay: a look in the fourth morning has the third day's
// figures, those that the store has, and what the plant does now; another one that
// has nothing new still has them.
func TestLookShowsTheLastDay(t *testing.T) {
	pl := play(t, rig.Random(3), winter, 4)
	record, st, memory := pl.plant.Record(), newShelf(pl.columns), &job.Memory{}
	morning := pl.window.From.AddDate(0, 0, 3).Add(6 * time.Hour)
	st.columns = nil
	for _, c := range until(pl.columns, morning) {
		st.columns = append(st.columns, inOrder(c))
	}
	watched, err := job.Watch(t.Context(), st, record, morning, memory)
	require.NoError(t, err)
	_, err = job.Days(t.Context(), st, record, pl.window, nil)
	require.NoError(t, err)
	third := pl.window.From.AddDate(0, 0, 2)
	assert.True(t, third.Equal(watched.LastDay.From), watched.LastDay.From)
	kept := st.days[third.Format(time.DateOnly)].Fields
	require.Contains(t, kept, "electricity_kwh")
	assert.InDeltaMapValues(t, kept, watched.LastDay.Figures, 1e-6)
	require.NotNil(t, watched.Glance.FlowC)
	require.NotNil(t, watched.Glance.OutdoorC)
	assert.Greater(t, *watched.Glance.FlowC, *watched.Glance.OutdoorC)

	again, err := job.Watch(t.Context(), st, record, morning.Add(time.Second), memory)
	require.NoError(t, err)
	assert.Equal(t, watched.LastDay, again.LastDay)
	assert.Equal(t, watched.Glance, again.Glance)
}

// TestLookBeforeAnythingCame: nothing is known, and that is no error.
func TestLookBeforeAnythingCame(t *testing.T) {
	record := rig.Random(3).Record()
	watched, err := job.Watch(t.Context(), newShelf(nil), record, winter, &job.Memory{})
	require.NoError(t, err)
	assert.Equal(t, job.LastDay{}, watched.LastDay)
	assert.True(t, watched.Glance.Newest.IsZero())
}

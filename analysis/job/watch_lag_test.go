package job_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/store"
)

// arriving is a store of which only what has arrived is seen.
type arriving struct {
	*shelf
	upto time.Time
}

func (a *arriving) Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	if to.After(a.upto) {
		to = a.upto
	}
	return a.shelf.Scan(ctx, site, channels, from, to)
}

func (a *arriving) Extents(ctx context.Context, site string) ([]store.Extent, error) {
	all, err := a.shelf.Extents(ctx, site)
	for i := range all {
		if all[i].Last.After(a.upto) {
			all[i].Last = a.upto
		}
	}
	return all, err
}

// TestClockBehindIsNotSilence: readings that are two hours old when they arrive are
// a wrong clock, and a site whose readings end is silent.
func TestClockBehindIsNotSilence(t *testing.T) {
	p := play(t, rig.Random(3), winter, 1)
	st, memory, record := &arriving{shelf: newShelf(p.columns)}, &job.Memory{}, p.plant.Record()
	var kinds []string
	for _, now := range every(p.window.From.Add(6*time.Hour), p.window.From.Add(12*time.Hour), 5*time.Minute) {
		st.upto = now.Add(-2 * time.Hour)
		watched, err := job.Watch(t.Context(), st, record, now, memory)
		require.NoError(t, err)
		kinds = nil
		for _, f := range watched.Open {
			kinds = append(kinds, f.Kind)
		}
	}
	assert.Equal(t, []string{"clock_wrong"}, kinds)

	stopped := st.upto
	for _, now := range every(p.window.From.Add(12*time.Hour), p.window.From.Add(16*time.Hour), 5*time.Minute) {
		watched, err := job.Watch(t.Context(), st, record, now, memory)
		require.NoError(t, err)
		kinds = nil
		for _, f := range watched.Open {
			kinds = append(kinds, f.Kind)
			if f.Kind == "silent" {
				assert.WithinDuration(t, stopped, f.Since, time.Minute)
			}
		}
	}
	assert.Contains(t, kinds, "silent")
}

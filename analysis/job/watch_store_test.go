package job_test

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// swappedPlant is a plant whose flow and return sensors are exchanged after a day
// and a half, played for three days.
func swappedPlant(t testing.TB) played {
	p := rig.Random(3)
	p.Metering.Interval = 30 * time.Second
	p.Troubles = []rig.Trouble{{Kind: rig.SwappedSensors, After: 36 * time.Hour}}
	return play(t, p, winter, 3)
}

// stubborn is a store that does not take findings while it is told not to.
type stubborn struct {
	*local.Store
	refuses bool
}

var errFull = errors.New("disk full")

func (s *stubborn) PutFindings(ctx context.Context, findings []store.Finding) error {
	if s.refuses {
		return errFull
	}
	return s.Store.PutFindings(ctx, findings)
}

// TestWatchOnAStore: readings come in, a finding cannot be stored at first, and
// the program starts anew: it is told once, and late readings are looked at.
func TestWatchOnAStore(t *testing.T) {
	ctx := t.Context()
	inner, err := local.Open(ctx, filepath.Join(t.TempDir(), "readings.sqlite"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, inner.Close()) })
	st, pl := &stubborn{Store: inner}, swappedPlant(t)
	record, memory := pl.plant.Record(), &job.Memory{}
	onset, to := pl.window.From.Add(36*time.Hour), pl.window.To
	appendColumns(t, inner, record.ID, until(pl.columns, onset.Add(-time.Hour)))
	first, err := job.Watch(ctx, st, record, onset.Add(-time.Hour), memory)
	require.NoError(t, err)
	assert.Empty(t, first.Open)

	appendColumns(t, inner, record.ID, until(pl.columns, onset.Add(6*time.Hour)))
	st.refuses = true
	_, err = job.Watch(ctx, st, record, onset.Add(6*time.Hour), memory)
	require.ErrorIs(t, err, errFull)
	st.refuses = false
	told, err := job.Watch(ctx, st, record, onset.Add(6*time.Hour), memory)
	require.NoError(t, err)
	require.Len(t, told.Open, 1)
	assert.Equal(t, "pipes_swapped", told.Open[0].Kind)
	assert.Contains(t, told.Changed, told.Open[0], "the same look again tells it")

	again, err := job.Watch(ctx, st, record, onset.Add(6*time.Hour+time.Minute), memory)
	require.NoError(t, err)
	assert.Empty(t, again.Changed)
	restarted, err := job.Watch(ctx, st, record, onset.Add(6*time.Hour+time.Minute), &job.Memory{})
	require.NoError(t, err)
	assert.Empty(t, restarted.Changed, "what is stored is not told again")
	assert.Len(t, restarted.Open, 1)

	appendColumns(t, inner, record.ID, pl.columns)
	_, err = job.Watch(ctx, st, record, to, memory)
	require.NoError(t, err)
	kept, err := job.ReadFindings(ctx, st, record.ID, pl.window.From, to)
	require.NoError(t, err)
	kept = slices.DeleteFunc(kept, func(f watch.Finding) bool { return f.Kind != "pipes_swapped" })
	require.Len(t, kept, 1)
	assert.Equal(t, told.Open[0].Since.UnixMilli(), kept[0].Since.UnixMilli())
}

// until cuts columns at a time.
func until(columns []ingest.Column, at time.Time) []ingest.Column {
	var cut []ingest.Column
	for _, c := range columns {
		n, _ := slices.BinarySearch(c.UnixMS, at.UnixMilli())
		cut = append(cut, ingest.Column{Channel: c.Channel, UnixMS: c.UnixMS[:n], Value: c.Value[:n]})
	}
	return cut
}

// TestFindingsInTheAnswer: as stored, else as history gives them where nobody
// watched.
func TestFindingsInTheAnswer(t *testing.T) {
	pl := swappedPlant(t)
	record, st := pl.plant.Record(), newShelf(pl.columns)
	looked := false
	watched := func(id string, from, to time.Time) (bool, error) {
		assert.Equal(t, []any{record.ID, pl.window.From, pl.window.To}, []any{id, from, to})
		return looked, nil
	}
	swapped := func() job.Finding {
		all, err := job.FindingsOf(t.Context(), st, record, pl.window, watched, nil)
		require.NoError(t, err)
		all = slices.DeleteFunc(all, func(f job.Finding) bool { return !strings.HasPrefix(f.ID, "pipes_swapped@") })
		require.Len(t, all, 1)
		return all[0]
	}
	f := swapped()
	assert.True(t, strings.HasPrefix(f.ID, "pipes_swapped@2026-01-11T"), f.ID)
	assert.Equal(t, "attention", f.Severity)
	assert.Nil(t, f.Until)
	assert.Contains(t, f.Evidence, "flow_less_return_k")
	assert.NotEmpty(t, f.Causes)
	assert.NotEmpty(t, f.Next)
	assert.Empty(t, st.findings, "history stores nothing")

	looked = true
	all, err := job.FindingsOf(t.Context(), st, record, pl.window, watched, nil)
	require.NoError(t, err)
	assert.Equal(t, []job.Finding{}, all, "somebody watched and kept nothing")

	_, err = job.Watch(t.Context(), st, record, pl.window.To, &job.Memory{})
	require.NoError(t, err)
	require.NotEmpty(t, st.findings)
	assert.Equal(t, f.ID, swapped().ID)
}

package journal_test

import (
	"bytes"
	"context"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/journal"
)

var start = time.Date(2026, 1, 10, 12, 0, 0, 0, time.UTC)

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "journal.db") }

func open(t testing.TB, path string, options journal.Options) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), path, options)
	require.NoError(t, err)
	t.Cleanup(func() { j.Close() })
	return j
}

func add(t testing.TB, j *journal.Journal, batch []ingest.Reading) (id int64) {
	t.Helper()
	id, err := j.Append(t.Context(), batch)
	require.NoError(t, err)
	return id
}

func next(t testing.TB, j *journal.Journal, atMost int) journal.Batches {
	t.Helper()
	batches, err := j.Next(t.Context(), atMost)
	require.NoError(t, err)
	return batches
}

func pending(t testing.TB, j *journal.Journal, site string) []journal.Batch {
	t.Helper()
	batches, err := j.Pending(t.Context(), site)
	require.NoError(t, err)
	return batches
}

func depthOf(t testing.TB, j *journal.Journal) journal.Depth {
	t.Helper()
	depth, err := j.Depth(t.Context())
	require.NoError(t, err)
	return depth
}

func TestWhatIsAppendedWaitsUntilItIsDropped(t *testing.T) {
	path := newPath(t)
	now := start
	options := journal.Options{Now: func() time.Time { return now }}
	j := open(t, path, options)
	moorhof0, birkenweg, moorhof1 := plantBatch("moorhof", 0, 4), plantBatch("birkenweg", 0, 4), plantBatch("moorhof", 1, 4)
	first := add(t, j, moorhof0)
	assert.Equal(t, start.UnixMicro(), first)
	now = now.Add(time.Second)
	second, third := add(t, j, birkenweg), add(t, j, moorhof1)
	assert.Equal(t, journal.Depth{Batches: 3, Readings: 12, Oldest: start}, depthOf(t, j))
	assert.Equal(t, journal.Batches{{first, moorhof0}, {second, birkenweg}}, next(t, j, 8))
	assert.Equal(t, []journal.Batch{{first, moorhof0}, {third, moorhof1}}, pending(t, j, "moorhof"))

	require.NoError(t, j.Drop(t.Context(), second))
	writer := j.Writer()
	assert.Len(t, writer, 16)
	require.NoError(t, j.Close())
	j = open(t, path, options)
	assert.Equal(t, writer, j.Writer())
	assert.NotEqual(t, writer, open(t, newPath(t), options).Writer())
	assert.Equal(t, journal.Batches{{third, moorhof1}}, next(t, j, 8))
	require.NoError(t, j.Drop(t.Context(), third))
	assert.Zero(t, depthOf(t, j))
	assert.Empty(t, next(t, j, 8))
}

// A batch of several sites waits for each of them with its own readings, in
// their order.
func TestPendingTakesASitesReadingsOutOfABatch(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	var batch, birkenweg []ingest.Reading
	for i := range 4 {
		batch = append(batch, plantBatch("moorhof", i, 3)...)
		batch = append(batch, plantBatch("birkenweg", i, 2)...)
		birkenweg = append(birkenweg, plantBatch("birkenweg", i, 2)...)
	}
	id := add(t, j, batch)
	assert.Equal(t, []journal.Batch{{id, birkenweg}}, pending(t, j, "birkenweg"))
	assert.Empty(t, pending(t, j, "birken"))
	assert.Empty(t, pending(t, j, "moorhof\nbirkenweg"), "found by the list of sites, not in the batch")
	assert.Empty(t, pending(t, j, ""))
}

func TestAppendIsAllOrNothing(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	batch := plantBatch("moorhof", 0, 8)
	batch[7].Site = ""
	_, err := j.Append(t.Context(), batch)
	require.ErrorIs(t, err, store.ErrReading)
	assert.ErrorContains(t, err, "reading 7 of 8")

	id, err := j.Append(t.Context(), nil)
	require.NoError(t, err)
	assert.Zero(t, id)

	release := j.Hold()
	ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	_, err = j.Append(ctx, plantBatch("moorhof", 0, 8))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	release()
	assert.Zero(t, depthOf(t, j))
}

func TestAppendsAreSignalled(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	for range 3 {
		add(t, j, plantBatch("moorhof", 0, 8))
	}
	<-j.Appended()
	select {
	case <-j.Appended():
		t.Fatal("three appends are one signal when nobody listened")
	default:
	}
}

func TestIDsGrowWhateverTheClockDoes(t *testing.T) {
	now := start
	path := newPath(t)
	j := open(t, path, journal.Options{Now: func() time.Time { return now }})
	last := int64(0)
	grows := func() {
		t.Helper()
		id := add(t, j, plantBatch("moorhof", 0, 8))
		require.Greater(t, id, last)
		last = id
	}
	grows()
	now = start.AddDate(0, 0, -1)
	grows()
	assert.Equal(t, start.UnixMicro()+1, last)
	require.NoError(t, j.Drop(t.Context(), last))
	grows()
	require.NoError(t, j.Drop(t.Context(), 1<<62), "more than was ever there")
	require.NoError(t, j.Close())
	j = open(t, path, journal.Options{Now: func() time.Time { return now }})
	grows()
	assert.Equal(t, start.UnixMicro()+3, last, "the last id is known though nothing waited")
	require.NoError(t, j.SetAside(t.Context(), last))
	grows()
	now = start.AddDate(1, 0, 0)
	grows()
	assert.Equal(t, now.UnixMicro(), last)
}

// Two journals on one file stand for two processes.
func TestTwoProcessesShareAFile(t *testing.T) {
	const each = 100
	path := newPath(t)
	a, b := open(t, path, journal.Options{}), open(t, path, journal.Options{})
	assert.Equal(t, a.Writer(), b.Writer())
	var ids [2][]int64
	var wait sync.WaitGroup
	for i, j := range []*journal.Journal{a, b} {
		wait.Go(func() {
			for n := range each {
				id, err := j.Append(t.Context(), plantBatch([]string{"moorhof", "birkenweg"}[i], n, 8))
				assert.NoError(t, err)
				ids[i] = append(ids[i], id)
			}
		})
	}
	wait.Wait()
	assert.Equal(t, int64(2*each), depthOf(t, a).Batches)
	assert.Equal(t, depthOf(t, a), depthOf(t, b))
	batches := next(t, b, 1<<30)
	require.Len(t, batches, 2*each)
	last := int64(0)
	var seen [2][]int64
	for _, batch := range batches {
		require.Greater(t, batch.ID, last)
		last = batch.ID
		of := map[string]int{"moorhof": 0, "birkenweg": 1}[batch.Readings[0].Site]
		require.Equal(t, plantBatch(batch.Readings[0].Site, len(seen[of]), 8), batch.Readings)
		seen[of] = append(seen[of], batch.ID)
	}
	assert.Equal(t, ids, seen)
	require.NoError(t, b.Drop(t.Context(), last))
	assert.Zero(t, depthOf(t, a))
	require.Greater(t, add(t, a, plantBatch("moorhof", 0, 8)), last)
}

func TestADamagedBatchIsNamedAndSetAside(t *testing.T) {
	for name, damage := range map[string]string{
		"a changed byte": "UPDATE batch SET data = CAST(substr(data, 1, 20) || x'ff' || substr(data, 22) AS BLOB) WHERE id = ?",
		"no bytes":       "UPDATE batch SET data = x'' WHERE id = ?",
		"another count":  "UPDATE batch SET count = 7 WHERE id = ?",
		"no count":       "UPDATE batch SET count = 'many' WHERE id = ?",
	} {
		t.Run(name, func(t *testing.T) {
			var logged bytes.Buffer
			path := newPath(t)
			j := open(t, path, journal.Options{Logger: slog.New(slog.NewTextHandler(&logged, nil))})
			var ids [4]int64
			for i := range ids {
				ids[i] = add(t, j, plantBatch("moorhof", i, 80))
			}
			assert.Equal(t, "1", j.Ask(damage+" RETURNING 1", ids[2]))
			was := j.Ask("SELECT hex(data) FROM batch WHERE id = ?", ids[2])

			batches := next(t, j, 1000)
			assert.Len(t, batches, 2, "those before it")
			require.NoError(t, j.Drop(t.Context(), batches.Through()))
			_, err := j.Next(t.Context(), 1000)
			var damaged *journal.DamagedError
			require.ErrorAs(t, err, &damaged)
			require.ErrorIs(t, err, journal.ErrDamaged)
			assert.Equal(t, ids[2], damaged.ID)

			require.NoError(t, j.SetAside(t.Context(), damaged.ID))
			assert.Contains(t, logged.String(), "set aside")
			assert.Equal(t, was, j.Ask("SELECT hex(data) FROM set_aside WHERE id = ?", ids[2]))
			assert.Equal(t, journal.Batches{{ids[3], plantBatch("moorhof", 3, 80)}}, next(t, j, 1000))
			assert.Equal(t, int64(80), depthOf(t, j).Readings)
			require.Error(t, j.SetAside(t.Context(), damaged.ID), "it is gone")
		})
	}
}

func TestDepthLeavesOutWhatWasSetAside(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	var ids [4]int64
	for i := range ids {
		ids[i] = add(t, j, plantBatch("moorhof", 0, 8*(i+1)))
	}
	for _, step := range []struct {
		id                int64
		batches, readings int64
	}{{ids[1], 3, 64}, {ids[3], 2, 32}, {ids[0], 1, 24}, {ids[2], 0, 0}} {
		require.NoError(t, j.SetAside(t.Context(), step.id))
		depth := depthOf(t, j)
		assert.Equal(t, []int64{step.batches, step.readings}, []int64{depth.Batches, depth.Readings})
	}
	add(t, j, plantBatch("moorhof", 0, 8))
	assert.Equal(t, int64(8), depthOf(t, j).Readings)
}

package journal_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
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

// message is what a plant sends at once, the n-th of a site.
func message(site string, n int) []ingest.Reading {
	at := start.Add(time.Duration(n) * 10 * time.Second)
	values := map[ingest.Channel]float64{"flow_temp": 35.2, "return_temp": 30.1, "power": 1200, "mode": 1}
	var batch []ingest.Reading
	for _, c := range []ingest.Channel{"flow_temp", "return_temp", "power", "mode"} {
		batch = append(batch, ingest.Reading{Site: site, Channel: c, Time: at, Value: values[c] + float64(n)})
	}
	return batch
}

func TestWhatIsAppendedWaitsUntilItIsDropped(t *testing.T) {
	path := newPath(t)
	now := start
	options := journal.Options{Now: func() time.Time { return now }}
	j := open(t, path, options)
	ids := make([]int64, 3)
	for i, site := range []string{"moorhof", "birkenweg", "moorhof"} {
		var err error
		ids[i], err = j.Append(t.Context(), message(site, i))
		require.NoError(t, err)
		now = now.Add(time.Second)
	}
	assert.Equal(t, start.UnixMicro(), ids[0])
	depth, err := j.Depth(t.Context())
	require.NoError(t, err)
	assert.Equal(t, journal.Depth{Batches: 3, Readings: 12, Oldest: start}, depth)

	batches, err := j.Next(t.Context(), 8)
	require.NoError(t, err)
	assert.Equal(t, journal.Batches{{ids[0], message("moorhof", 0)}, {ids[1], message("birkenweg", 1)}}, batches)
	pending, err := j.Pending(t.Context(), "moorhof")
	require.NoError(t, err)
	assert.Equal(t, []journal.Batch{{ids[0], message("moorhof", 0)}, {ids[2], message("moorhof", 2)}}, pending)

	require.NoError(t, j.Drop(t.Context(), batches.Through()))
	writer := j.Writer()
	require.NoError(t, j.Close())
	j = open(t, path, options)
	assert.Equal(t, writer, j.Writer())
	batches, err = j.Next(t.Context(), 8)
	require.NoError(t, err)
	assert.Equal(t, journal.Batches{{ids[2], message("moorhof", 2)}}, batches)
	require.NoError(t, j.Drop(t.Context(), ids[2]))
	depth, err = j.Depth(t.Context())
	require.NoError(t, err)
	assert.Zero(t, depth)
}

package journal_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

// plantChannels are those a plant publishes together every 10 s.
var plantChannels = []ingest.Channel{
	"flow_temp", "return_temp", "flow_rate", "power", "heat_output", "compressor_speed", "pump_power", "mode",
}

// plantBatch is the n-th batch of so many readings that a plant sends, with two
// decimals at most.
func plantBatch(site string, n, size int) []ingest.Reading {
	batch := make([]ingest.Reading, size)
	for i := range batch {
		at := n*size + i
		step := at / len(plantChannels)
		swing := math.Sin(float64(step) / 50)
		values := [...]float64{35 + 4*swing, 30 + 3*swing, 1100, 1500 + 400*swing, 6000 + 1500*swing, 55 + 10*swing, 42, 1}
		batch[i] = ingest.Reading{
			Site: site, Channel: plantChannels[at%len(plantChannels)],
			Time:  start.Add(time.Duration(step) * 10 * time.Second),
			Value: math.Round(values[at%len(plantChannels)]*100) / 100,
		}
	}
	return batch
}

// checkWaiting checks that just the batches from first to before end wait, as
// plantBatch makes them.
func checkWaiting(t *testing.T, j *journal.Journal, first, end, size int) {
	t.Helper()
	depth, err := j.Depth(t.Context())
	require.NoError(t, err)
	require.Equal(t, int64(end-first), depth.Batches)
	require.Equal(t, int64((end-first)*size), depth.Readings)
	batches, err := j.Next(t.Context(), math.MaxInt)
	require.NoError(t, err)
	require.Len(t, batches, end-first)
	for i, batch := range batches {
		require.Equal(t, plantBatch("moorhof", first+i, size), batch.Readings)
	}
}

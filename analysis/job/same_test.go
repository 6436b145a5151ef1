package job_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/rig"
)

// TestSameBytesForTheSameReadings: no sum may depend on the order in which a
// map is walked.
func TestSameBytesForTheSameReadings(t *testing.T) {
	p := play(t, rig.Random(7), time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 4)
	first, err := json.Marshal(p.analyse(t))
	require.NoError(t, err)
	for range 10 {
		again, err := json.Marshal(p.analyse(t))
		require.NoError(t, err)
		require.Equal(t, string(first), string(again))
	}
}

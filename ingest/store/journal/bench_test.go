package journal_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

// BenchmarkAppend appends batches of so many readings, each synced to the disk,
// of one site and of sites with eight readings each.
func BenchmarkAppend(b *testing.B) {
	for _, size := range []int{8, 500, 5000} {
		b.Run(fmt.Sprintf("%d", size), func(b *testing.B) {
			appendAll(b, func(n int) []ingest.Reading { return plantBatch("moorhof", n, size) })
		})
	}
	b.Run("480 of 60 sites", func(b *testing.B) {
		appendAll(b, func(n int) (batch []ingest.Reading) {
			for site := range 60 {
				batch = append(batch, plantBatch(fmt.Sprint("site ", site), n, 8)...)
			}
			return batch
		})
	})
}

func appendAll(b *testing.B, batchOf func(n int) []ingest.Reading) {
	path := newPath(b)
	j := open(b, path, journal.Options{})
	n := 0
	for i := 0; b.Loop(); i++ {
		b.StopTimer()
		batch := batchOf(i)
		b.StartTimer()
		add(b, j, batch)
		n += len(batch)
	}
	perSecond(b, n)
	require.NoError(b, j.Close())
	b.ReportMetric(float64(sizeOf(b, path))/float64(n), "bytes/reading")
}

// outage is a journal in which the messages of a day wait: 40 sites that send
// eight readings every 10 s, two batches a second.
func outage(b *testing.B) *journal.Journal {
	j := open(b, newPath(b), journal.Options{})
	const sites, batches = 40, 17280
	for n := range batches {
		var batch []ingest.Reading
		for site := range sites / 20 {
			batch = append(batch, plantBatch(fmt.Sprint("site ", (2*n+site)%sites), n/20, 8)...)
		}
		add(b, j, batch)
	}
	b.ResetTimer()
	return j
}

func BenchmarkWorkingOff(b *testing.B) {
	n := 0
	for b.Loop() {
		b.StopTimer()
		j := outage(b)
		b.StartTimer()
		for batches := next(b, j, 10_000); len(batches) > 0; batches = next(b, j, 10_000) {
			n += batches.Readings()
			require.NoError(b, j.Drop(b.Context(), batches.Through()))
		}
	}
	perSecond(b, n)
}

func BenchmarkPendingInAnOutage(b *testing.B) {
	j := outage(b)
	for b.Loop() {
		pending(b, j, "site 7")
	}
}

func BenchmarkDepthInAnOutage(b *testing.B) {
	j := outage(b)
	for b.Loop() {
		depthOf(b, j)
	}
}

package rig_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

var winter = time.Date(2025, 1, 10, 0, 0, 0, 0, time.UTC)

// BenchmarkAdvance simulates a day per iteration, all channels handed out.
func BenchmarkAdvance(b *testing.B) {
	for _, c := range []struct {
		name string
		emit func(ingest.Reading)
	}{{"readings", func(ingest.Reading) {}}, {"truth", nil}} {
		b.Run(c.name, func(b *testing.B) {
			r, err := rig.New(rig.Houses()[0], winter)
			require.NoError(b, err)
			b.ReportAllocs()
			until := winter
			for b.Loop() {
				until = until.AddDate(0, 0, 1)
				r.Advance(until, c.emit)
			}
			steps := float64(b.N) * 43200
			b.ReportMetric(steps/b.Elapsed().Seconds(), "steps/s")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/steps, "ns/step")
		})
	}
}

package job

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest/rig"
)

// BenchmarkSummarise makes the answer of days that are at hand.
func BenchmarkSummarise(b *testing.B) {
	plant := rig.Houses()[0]
	plant.Metering.Interval, plant.Step = time.Minute, 3*time.Second
	record := plant.Record()
	from := StartOfDay(2025, 1, 1, record.Zone())
	for name, w := range map[string]Window{"month": {from, from.AddDate(0, 1, 0)}, "year": {from, from.AddDate(1, 0, 0)}} {
		b.Run(name, func(b *testing.B) {
			played, err := rig.New(plant, w.From)
			require.NoError(b, err)
			columns := played.Columns(w.To)
			r, err := readerOf(record)
			require.NoError(b, err)
			var days []siteday.Day
			for _, d := range w.days() {
				days = append(days, r.compute(columns, d))
			}
			for b.Loop() {
				Summarise(record, w, days, trace.HeatFromFlow)
			}
		})
	}
}

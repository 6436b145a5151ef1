package siteday_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// BenchmarkSiteDay analyses one day of 10 s readings from memory.
func BenchmarkSiteDay(b *testing.B) {
	midnight := time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)
	random := rand.New(rand.NewPCG(1, 2))
	names := []ingest.Channel{"flow_temp", "return_temp", "outdoor_temp", "flow_rate", "power", "room_temp", "cylinder_temp"}
	columns := make([]ingest.Column, len(names))
	for c, name := range names {
		columns[c].Channel = name
	}
	for i := range 8640 {
		on := i%180 < 120
		values := []float64{30, 30, 2, 1000, 12, 20, 45}
		if on {
			values[0], values[4] = 35, 1500
		}
		for c := range columns {
			columns[c].UnixMS = append(columns[c].UnixMS, midnight.UnixMilli()+int64(i)*10_000)
			columns[c].Value = append(columns[c].Value, values[c]+random.NormFloat64()*0.03)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		tr := trace.Build(columns, midnight, midnight.AddDate(0, 0, 1), trace.Options{})
		siteday.Sum(tr, operation.Detect(tr), "2026-01-14", midnight, midnight.AddDate(0, 0, 1))
	}
}

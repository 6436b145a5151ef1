package flowrate_test

import (
	"math"
	"testing"

	"coldweek/analysis/flowrate"
	"coldweek/analysis/siteday"
)

// BenchmarkYear reads the flow of a year of days.
func BenchmarkYear(b *testing.B) {
	var days []siteday.Day
	for d := range 365 {
		days = append(days, made(d, 1000+10*math.Sin(float64(d)), 8*math.Cos(float64(d)/50)))
	}
	b.ReportAllocs()
	for b.Loop() {
		flowrate.Of(days)
	}
}

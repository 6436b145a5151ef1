package heatloss

import (
	"math"
	"testing"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// BenchmarkWeekOfHours is the cost of the first week's answer.
func BenchmarkWeekOfHours(b *testing.B) {
	var hours []hourly
	for i := range 7 * 24 {
		at := float64(i)
		hours = append(hours, hourly{
			outdoorC: 3 + 4*math.Sin(at/40) + 2*math.Cos(at/3.8), roomC: 20 + 0.2*math.Sin(at/17), heatW: 3500 - 700*math.Sin(at/40+0.1),
			rhythm: rhythmAt(at + 1), starts: i == 0,
		})
	}
	for b.Loop() {
		if _, ok := greyBox(hours, false); !ok {
			b.Fatal("no fit")
		}
	}
}

// BenchmarkYear is the cost of a year's signature with its search for a base.
func BenchmarkYear(b *testing.B) {
	at := time.Date(2025, 10, 1, 0, 0, 0, 0, time.UTC)
	days := make([]siteday.Day, 365)
	for i := range days {
		outdoorC := 10 - 8*math.Sin(2*math.Pi*float64(i)/365) + 3*math.Sin(float64(i)/2)
		d := &days[i]
		d.From, d.To = at, at.AddDate(0, 0, 1)
		d.Sums.SpanS, d.Sums.CoveredS = 86400, 86400
		d.Sums.Outdoor = siteday.Mean{ValueS: outdoorC * 86400, S: 86400}
		d.Sums.HeatJ[operation.Heating] = max(200*(16-outdoorC)+100*math.Sin(float64(i)), 0) * 86400
		at = d.To
	}
	for b.Loop() {
		if r := Of(days, Options{}); r.Signature == nil || r.Signature.BaseC == nil {
			b.Fatal("no base")
		}
	}
}

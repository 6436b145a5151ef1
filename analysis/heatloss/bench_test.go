package heatloss

import (
	"math"
	"testing"
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

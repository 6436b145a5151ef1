package metrology

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// fewestDays is how many days it takes to say how much they differ (common
// practice, no source).
const fewestDays = 5

// DayEnergy is the covered heat and electricity of one day.
type DayEnergy struct{ HeatJ, ElectricityJ float64 }

// DaySpreadRatio is by how much the SPF of single days differs from that of them
// all: the standard deviation, weighted with electricity, by the SPF. False with
// fewer than five days that used electricity, or without heat.
func DaySpreadRatio(days []DayEnergy) (float64, bool) {
	var spf, weight []float64
	for _, d := range days {
		if d.ElectricityJ > 0 {
			spf, weight = append(spf, d.HeatJ/d.ElectricityJ), append(weight, d.ElectricityJ)
		}
	}
	if len(spf) < fewestDays {
		return 0, false
	}
	// The weighted mean of daily ratios is the ratio of the sums.
	mean, variance := stat.PopMeanVariance(spf, weight)
	if !(mean > 0) {
		return 0, false
	}
	n := float64(len(spf))
	return math.Sqrt(variance*n/(n-1)) / mean, true
}

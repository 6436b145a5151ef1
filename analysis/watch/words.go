package watch

import (
	"fmt"
	"math"
	"time"

	"coldweek/analysis/robust"
)

// spell writes a length of time in the unit that suits it.
func spell(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f minutes", d.Minutes())
	case d < 2*day:
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}

// median is NaN of no values.
func median(values []float64) float64 {
	m, ok := robust.Median(values)
	if !ok {
		return math.NaN()
	}
	return m
}

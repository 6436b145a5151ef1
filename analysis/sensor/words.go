package sensor

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coldweek/ingest"
)

// counted is "1 pause", "3 pauses".
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// tooMuch is "12 % too high" or "12 % too low".
func tooMuch(pct float64) string {
	if pct < 0 {
		return fmt.Sprintf("%.0f %% too low", math.Abs(pct))
	}
	return fmt.Sprintf("%.0f %% too high", pct)
}

// names joins channels as in "flow_temp and return_temp".
func names(channels []ingest.Channel) string {
	words := make([]string, len(channels))
	for i, ch := range channels {
		words[i] = string(ch)
	}
	return strings.Join(words, " and ")
}

// quartiles returns the values a quarter, half and three quarters up. It sorts
// them.
func quartiles(values []float64) (low, middle, high float64) {
	slices.Sort(values)
	n := len(values)
	return values[n/4], values[n/2], values[n*3/4]
}

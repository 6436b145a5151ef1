package curve

import (
	"math"
	"time"

	"coldweek/analysis/siteday"
)

// dampingsH are the time constants that controllers are set to.
var dampingsH = []float64{0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 12, 16, 24}

// lostAfter so long without outdoor readings the damped temperature begins anew.
const lostAfter = 6 * time.Hour

// damped follows hourly outdoor temperatures with a first-order lag and returns
// its mean in each hour; NaN where nothing is known, and until the damping has
// forgotten where it began.
func damped(hours []siteday.Hour, dampingH float64) []float64 {
	means := make([]float64, len(hours))
	left := 1.0 // of a departure after an hour
	if dampingH > 0 {
		left = math.Exp(-1 / dampingH)
	} else {
		left = 0
	}
	state, known, since := 0.0, time.Time{}, time.Time{}
	for i := range hours {
		h := &hours[i]
		means[i] = math.NaN()
		outdoorC, ok := h.Outdoor.Of()
		if !ok {
			continue
		}
		if known.IsZero() || h.From.Sub(known) > lostAfter {
			state, since = outdoorC, h.From
		}
		known = h.From.Add(time.Hour)
		if h.From.Sub(since).Hours() >= dampingH {
			means[i] = outdoorC + (state-outdoorC)*dampingH*(1-left)
		}
		state = outdoorC + (state-outdoorC)*left
	}
	return means
}

package curve

import (
	"math"
	"time"

	"coldweek/analysis/siteday"
)

// dampingsH are the time constants that controllers are set to.
var dampingsH = []float64{0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 12, 16, 24}

// usualDampingH is where the search for one begins; it finds the same from anywhere.
const usualDampingH = 2.0

// lostAfter so long without outdoor readings the damped temperature begins anew.
const lostAfter = 6 * time.Hour

// damped follows hourly outdoor temperatures with a first-order lag and returns
// its mean in each hour; NaN where nothing is known, and until the damping has
// forgotten where it began.
func damped(hours []siteday.Hour, dampingH float64) []float64 {
	return weatherOf(hours).damped(dampingH)
}

// allDamped does that for each of the time constants.
func allDamped(hours []siteday.Hour) [][]float64 {
	weather := weatherOf(hours)
	all := make([][]float64, len(dampingsH))
	for i, dampingH := range dampingsH {
		all[i] = weather.damped(dampingH)
	}
	return all
}

// outdoorHour is the mean outdoor temperature of an hour.
type outdoorHour struct {
	from     time.Duration // since the first hour
	outdoorC float64       // NaN: not known
}

type weather []outdoorHour

func weatherOf(hours []siteday.Hour) weather {
	w := make(weather, len(hours))
	for i := range hours {
		outdoorC, ok := hours[i].Outdoor.Of()
		if !ok {
			outdoorC = math.NaN()
		}
		w[i] = outdoorHour{hours[i].From.Sub(hours[0].From), outdoorC}
	}
	return w
}

func (hours weather) damped(dampingH float64) []float64 {
	means := make([]float64, len(hours))
	left := 1.0 // of a departure after an hour
	if dampingH > 0 {
		left = math.Exp(-1 / dampingH)
	} else {
		left = 0
	}
	state, known, since := 0.0, time.Duration(-1), time.Duration(0)
	for i, h := range hours {
		means[i] = math.NaN()
		outdoorC := h.outdoorC
		if math.IsNaN(outdoorC) {
			continue
		}
		if known < 0 || h.from-known > lostAfter {
			state, since = outdoorC, h.from
		}
		known = h.from + time.Hour
		if (h.from - since).Hours() >= dampingH {
			means[i] = outdoorC + (state-outdoorC)*dampingH*(1-left)
		}
		state = outdoorC + (state-outdoorC)*left
	}
	return means
}

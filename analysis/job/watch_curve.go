package job

import (
	"coldweek/analysis/curve"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

const (
	// The last curveDays of heating say what the heating curve is now, or, where they do
	// not agree on one, the last fewestCurveDays: it may have been changed. A day of
	// heating has heatedS of it.
	curveDays, fewestCurveDays = 7, 4
	heatedS                    = 4 * 3600
	// curveLooks are the last days at whose end the curve is looked at.
	curveLooks = 3
)

// datedCurve is a curve and the days that it is of.
type datedCurve struct {
	key string
	*watch.Curve
}

// fitCurves looks at the heating curve at the end of each of the last days, where
// the days of heating are others than remembered.
func (m *Memory) fitCurves(r *reader, c *watch.Case) {
	whole := c.WholeDays()
	var fresh []datedCurve
	for i := max(1, len(whole)-curveLooks+1); i <= len(whole); i++ {
		if k, ok := m.curveAt(r, lastHeated(whole[:i])); ok {
			fresh = append(fresh, k)
		}
	}
	m.curves = fresh
	for _, k := range fresh {
		c.Curves = append(c.Curves, k.Curve)
	}
}

func (m *Memory) curveAt(r *reader, days []siteday.Day) (datedCurve, bool) {
	if len(days) < fewestCurveDays {
		return datedCurve{}, false
	}
	key := days[0].Date + days[len(days)-1].Date
	for _, k := range m.curves {
		if k.key == key {
			return k, true
		}
	}
	k := r.curveOf(days)
	if k.Fit.Verdict != curve.Usable && len(days) > fewestCurveDays {
		if later := r.curveOf(days[len(days)-fewestCurveDays:]); later.Fit.Verdict != curve.NotKnown {
			k = later
		}
	}
	return datedCurve{key, k}, true
}

// lastHeated are the last days of heating, in order.
func lastHeated(all []siteday.Day) []siteday.Day {
	var days []siteday.Day
	for i := len(all) - 1; i >= 0 && len(days) < curveDays; i-- {
		if all[i].Sums.SecondsS[operation.Heating] >= heatedS {
			days = append([]siteday.Day{all[i]}, days...)
		}
	}
	return days
}

func (r *reader) curveOf(days []siteday.Day) *watch.Curve {
	from, to := days[0].From, days[len(days)-1].To
	result := Summarise(r.record, Window{From: from, To: to}, days, sourceOf(r.channels))
	k := &watch.Curve{From: from, To: to, Fit: result.Curve, Advice: result.CurveAdvice, GapAtDesignK: result.HeatingCurve.GapAtDesignK}
	for _, room := range result.Rooms.Rooms {
		if room.SetC == nil {
			continue
		}
		if spareK := room.P5C - *room.SetC; k.SpareK == nil || spareK < *k.SpareK {
			k.SpareK = &spareK
		}
	}
	return k
}

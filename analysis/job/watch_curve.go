package job

import (
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

const (
	// The last curveDays of heating, fewestCurveDays at least, say what the heating curve
	// is now: more would hold on to one that has been changed. A day of heating has
	// heatedS of it.
	curveDays, fewestCurveDays = 7, 4
	heatedS                    = 4 * 3600
)

// fitCurve looks at the heating curve once a day, when the days of heating are
// others than before.
func (m *Memory) fitCurve(r *reader, c *watch.Case) {
	days := lastHeated(c.WholeDays())
	if len(days) < fewestCurveDays {
		return
	}
	if key := days[0].Date + days[len(days)-1].Date; key != m.curveKey {
		m.curve, m.curveKey = r.curveOf(days), key
	}
	c.Curve = m.curve
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

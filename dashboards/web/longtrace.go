package web

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
	"coldweek/dashboards/chart"
	"coldweek/ingest/site"
)

// closestDays is how many days are drawn from their readings. Longer ranges are
// drawn from the means of hours that stored days hold: reading them would take
// seconds, and the drawing shows no more.
const closestDays = 15

// long says whether a period is drawn from hours.
func (p period) long() bool { return p.days() > closestDays }

// hoursWindow is the whole days of a long period that are over, one at least.
func hoursWindow(p period, now time.Time) job.Window {
	from, over := dayOf(p.from), siteday.Earlier(daysOn(p.to.Add(-time.Millisecond), 1), dayOf(now))
	return job.Window{From: from, To: siteday.Later(over, daysOn(from, 1))}
}

// fillLong adds what stored days tell of a long period.
func (s *server) fillLong(ctx context.Context, body *plantBody, record *site.Record, p period, now time.Time) error {
	w := hoursWindow(p, now)
	found, err := s.answers.of(ctx, record, w, withoutFits)
	if err != nil {
		return err
	}
	body.Headline, body.Particulars, body.Warnings = headline(found.Result), particulars(found.Result), sentences(found.Warnings)
	shown, hours := found.hours.coarser()
	drawn := longTraceOf(record, shown, p, now)
	body.TraceWide = inline(within(drawn, "trace-wide", widePx, leastWidePx, wideBytes))
	body.TraceNarrow = inline(within(drawn, "trace-narrow", narrowPx, leastPx, narrowBytes))
	means := "hours"
	if hours > 1 {
		means = fmt.Sprintf("%d hours", hours)
	}
	body.TraceNote = fmt.Sprintf("Means of %s: ranges of more than %d days are drawn from summed-up days. Temperatures of flow and return are those of settled heating.", means, closestDays)
	return nil
}

// longTraceOf returns the means of hours as a drawing.
func longTraceOf(record *site.Record, h *hourly, p period, now time.Time) chart.DayTrace {
	d := chart.DayTrace{
		Title: nameOf(record) + ": means of hours", FromMS: p.from.UnixMilli(), ToMS: p.to.UnixMilli(), Zone: record.Zone(),
	}
	if p.to.After(now) {
		d.NowMS = now.UnixMilli()
	}
	hourMS := int64(time.Hour / time.Millisecond)
	if len(h.unixMS) > 1 {
		hourMS = max(hourMS, h.unixMS[1]-h.unixMS[0])
	}
	for _, of := range []struct {
		name   string
		role   chart.Role
		values []float64
		hold   bool
		gapMS  int64
	}{
		{"Flow", chart.Flow, h.flowC, false, 6 * hourMS}, {"Return", chart.Return, h.returnC, false, 6 * hourMS}, {"Target", chart.Target, h.targetC, false, 6 * hourMS},
		{"Room", chart.Room, h.roomC, false, 2 * hourMS}, {"Outdoors", chart.Outdoor, h.outdoorC, false, 2 * hourMS},
		{"Heat", chart.Heat, h.heatW, true, 2 * hourMS}, {"Electricity", chart.Power, h.powerW, true, 2 * hourMS},
	} {
		if series, known := knownOf(h.unixMS, of.values); known {
			series.Name, series.Role, series.Hold, series.MaxGapMS = of.name, of.role, of.hold, of.gapMS
			d.Series = append(d.Series, series)
		}
	}
	return d
}

// knownOf leaves out the hours of which nothing is known.
func knownOf(unixMS []int64, values []float64) (chart.Series, bool) {
	if !slices.ContainsFunc(values, math.IsNaN) {
		return chart.Series{UnixMS: unixMS, Value: values}, len(values) > 0
	}
	var s chart.Series
	for i, v := range values {
		if !math.IsNaN(v) {
			s.UnixMS, s.Value = append(s.UnixMS, unixMS[i]), append(s.Value, v)
		}
	}
	return s, len(s.Value) > 0
}

// mostMeans is how many means a drawing of a page is made of at most: more would
// only be drawn over each other.
const mostMeans = 1600

// coarser returns the hours as means of so many hours that they can be drawn.
func (h *hourly) coarser() (*hourly, int) {
	n := (len(h.unixMS) + mostMeans - 1) / mostMeans
	if n <= 1 {
		return h, 1
	}
	c := &hourly{}
	for first := 0; first < len(h.unixMS); first += n {
		c.unixMS = append(c.unixMS, h.unixMS[first])
	}
	for _, of := range []struct {
		from []float64
		to   *[]float64
	}{{h.outdoorC, &c.outdoorC}, {h.roomC, &c.roomC}, {h.flowC, &c.flowC}, {h.returnC, &c.returnC}, {h.targetC, &c.targetC}, {h.heatW, &c.heatW}, {h.powerW, &c.powerW}} {
		for first := 0; first < len(of.from); first += n {
			*of.to = append(*of.to, meanOfKnown(of.from[first:min(first+n, len(of.from))]))
		}
	}
	return c, n
}

func meanOfKnown(values []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range values {
		if !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	return sum / float64(n) // NaN of none
}

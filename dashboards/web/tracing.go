package web

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/operation"
	"coldweek/dashboards/chart"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

// Sizes of the drawings in a page: one for a screen or a sheet of paper, one
// for a phone.
const (
	widePx, narrowPx = 1040, 360
	leastPx, mostPx  = 300, 1600
)

// traceOf returns what a plant measured in a period as a drawing.
func traceOf(record *site.Record, span *job.Span, p period, now time.Time) chart.DayTrace {
	d := chart.DayTrace{
		Title:  nameOf(record) + ": readings",
		FromMS: p.from.UnixMilli(), ToMS: p.to.UnixMilli(), Zone: record.Zone(),
		Series: seriesOf(span), Spans: spansOf(span), Levels: levelsOf(record),
	}
	if p.to.After(now) {
		d.NowMS = now.UnixMilli()
	}
	return d
}

// sized gives a drawing its place on the page.
func sized(d chart.DayTrace, id string, width float64) chart.DayTrace {
	d.ID = id
	d.Size = chart.Size{Width: width, Height: 560}
	if width < 560 {
		d.Size.Height = 620
	}
	return d
}

// Weights that keep a page with both drawings below 200 kB.
const (
	wideBytes, narrowBytes = 95_000, 45_000
	leastWidePx            = 600
)

// within draws a trace no wider than width and, if it can be, no heavier than a
// number of bytes: a narrower drawing has fewer pixels to tell apart.
func within(d chart.DayTrace, id string, width, leastWidth float64, bytes int) []byte {
	for {
		svg := sized(d, id, width).SVG()
		if len(svg) <= bytes || width <= leastWidth {
			return svg
		}
		width = max(leastWidth, math.Floor(width*0.8))
	}
}

// line is how the readings of a quantity are drawn.
type line struct {
	quantity ingest.Quantity
	role     chart.Role
	name     string
}

// lines are in the order in which they matter.
var lines = []line{
	{ingest.FlowTemp, chart.Flow, "Flow"},
	{ingest.ReturnTemp, chart.Return, "Return"},
	{ingest.FlowTarget, chart.Target, "Target"},
	{ingest.CylinderTemp, chart.Cylinder, "Cylinder"},
	{ingest.RoomTemp, chart.Room, "Room"},
	{ingest.OutdoorTemp, chart.Outdoor, "Outdoors"},
	{ingest.BackupPower, chart.Backup, "Backup"},
	{ingest.FlowRate, chart.Rate, "Flow rate"},
}

// seriesOf returns the readings as they came, and heat and electricity as the
// analysis understood them.
func seriesOf(span *job.Span) []chart.Series {
	var all []chart.Series
	t := span.Trace
	for _, l := range lines {
		for _, ch := range t.Channels(l.quantity) {
			c, _ := t.Column(ch)
			if l.quantity == ingest.BackupPower && idle(c, span.From, span.To) {
				continue // a line along zero says nothing
			}
			all = append(all, chart.Series{
				Name: placeName(ch, l.name), Role: l.role, UnixMS: c.UnixMS, Value: c.Value,
				MaxGapMS: t.MaxGap(ch).Milliseconds(), Hold: l.quantity.Between() == ingest.Hold,
			})
		}
	}
	quiet := max(t.MaxGap(ingest.Channel(ingest.FlowTemp)), t.MaxGap(ingest.Channel(ingest.Power)), 2*time.Minute)
	for _, w := range []struct {
		name    string
		role    chart.Role
		valuesW []float64
	}{{"Heat", chart.Heat, t.HeatW}, {"Electricity", chart.Power, t.PowerW}} {
		if w.valuesW != nil {
			all = append(all, chart.Series{
				Name: w.name, Role: w.role, UnixMS: t.EdgeMS, Value: append(w.valuesW[:t.Len():t.Len()], math.NaN()),
				MaxGapMS: quiet.Milliseconds(), Hold: true,
			})
		}
	}
	return all
}

// idle says whether a power is zero throughout.
func idle(c ingest.Column, from, to time.Time) bool {
	first, _ := slices.BinarySearch(c.UnixMS, from.UnixMilli())
	last, _ := slices.BinarySearch(c.UnixMS, to.UnixMilli())
	return !slices.ContainsFunc(c.Value[first:last], func(powerW float64) bool { return powerW >= 1 })
}

// placeName calls a channel by its place, if it has one.
func placeName(ch ingest.Channel, name string) string {
	place := strings.NewReplacer("_", " ", "-", " ").Replace(ch.Place())
	switch {
	case place == "":
		return name
	case ch.Quantity() == ingest.RoomTemp:
		return upperFirst(place)
	}
	return name + ", " + place
}

var kinds = map[operation.State]chart.Kind{
	operation.Off: chart.Off, operation.Circulating: chart.Circulating, operation.Heating: chart.Heating,
	operation.HotWater: chart.HotWater, operation.Defrost: chart.Defrost,
}

// spansOf joins intervals of the same state.
func spansOf(span *job.Span) []chart.Span {
	op := span.Operation
	spans := stretches(span, len(op.State), func(i int) chart.Kind { return kinds[op.State[i]] })
	return append(spans, stretches(span, len(op.Backup), func(i int) chart.Kind {
		if op.Backup[i] {
			return chart.BackupOn
		}
		return ""
	})...)
}

func stretches(span *job.Span, n int, kind func(int) chart.Kind) []chart.Span {
	var spans []chart.Span
	for first := 0; first < n; {
		last := first + 1
		for last < n && kind(last) == kind(first) {
			last++
		}
		if k := kind(first); k != "" {
			spans = append(spans, chart.Span{FromMS: span.Trace.EdgeMS[first], ToMS: span.Trace.EdgeMS[last], Kind: k})
		}
		first = last
	}
	return spans
}

// levelsOf are the values of the record to compare with.
func levelsOf(record *site.Record) []chart.Level {
	var levels []chart.Level
	if c := record.Commissioned; c != nil && c.FlowRateLPH != nil {
		levels = append(levels, chart.Level{Name: "Commissioned", Role: chart.Rate, Value: *c.FlowRateLPH})
	}
	if hp := record.HeatPump; hp != nil && hp.MinimumFlowLPH != nil {
		levels = append(levels, chart.Level{Name: "Minimum", Role: chart.Rate, Value: *hp.MinimumFlowLPH})
	}
	return levels
}

// wanted is a drawing that is asked for alone.
type wanted struct {
	record *site.Record
	period period
	width  float64
}

// wantedDrawing reads plant, period and width of an address.
func (s *server) wantedDrawing(r *http.Request) (w wanted, err error) {
	if w.record, err = s.record(r.PathValue("id")); err != nil {
		return w, err
	}
	p, _, ok, err := parsePeriod(r.URL.Query(), w.record.Zone())
	if err != nil {
		return w, err
	}
	if !ok {
		return w, badPeriod("A drawing needs day, or from and to")
	}
	w.period, w.width = p, widePx
	if text := r.URL.Query().Get("width"); text != "" {
		px, err := strconv.Atoi(text)
		if err != nil || px < leastPx || px > mostPx {
			return w, badPeriod("width: %q is no number of pixels from %d to %d", text, leastPx, mostPx)
		}
		w.width = float64(px)
	}
	return w, nil
}

// traceSVG draws a trace alone, at a width of the asker's choice.
func (s *server) traceSVG(r *http.Request) ([]byte, error) {
	w, err := s.wantedDrawing(r)
	if err != nil {
		return nil, err
	}
	now := s.Now().In(w.record.Zone())
	if w.period.long() {
		hours, err := s.hours.of(r.Context(), w.record, hoursWindow(w.period, now))
		if err != nil {
			return nil, err
		}
		shown, _ := hours.coarser()
		return sized(longTraceOf(w.record, shown, w.period, now), "trace", w.width).SVG(), nil
	}
	span, err := job.Look(r.Context(), s.Store, w.record, w.period.from, w.period.seenBy(now))
	if err != nil {
		return nil, err
	}
	return sized(traceOf(w.record, span, w.period, now), "trace", w.width).SVG(), nil
}

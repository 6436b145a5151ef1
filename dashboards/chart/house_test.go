package chart

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// plantDays synthesises what an invented plant measures every step from an
// instant on: heating with a defrost every 95 minutes, hot water at five and
// sixteen, cycling in the afternoon, sensors with noise.
func plantDays(from time.Time, last, step time.Duration) ([]Series, []Span) {
	r := rand.New(rand.NewPCG(7, 11))
	gapMS := 3 * step.Milliseconds()
	series := []Series{
		{Name: "Flow", Role: Flow}, {Name: "Return", Role: Return}, {Name: "Flow target", Role: Target, Hold: true},
		{Name: "Cylinder", Role: Cylinder}, {Name: "Living room", Role: Room}, {Name: "Outdoor", Role: Outdoor},
		{Name: "Heat", Role: Heat, Hold: true}, {Name: "Electricity", Role: Power, Hold: true}, {Name: "Flow rate", Role: Rate, Hold: true},
	}
	var spans []Span
	flowC := 35.0
	for t := from; t.Before(from.Add(last)); t = t.Add(step) {
		hour := float64(t.Hour()) + float64(t.Minute())/60 + float64(t.Second())/3600
		kind := plantKind(hour)
		aim := plantAims[kind]
		flowC += (aim[0] - flowC) * min(1, step.Seconds()/150)
		outdoorC := -1 + 4*math.Sin((hour-9)/12*math.Pi)
		values := []float64{
			flowC + 0.06*r.NormFloat64(), flowC - aim[1] + 0.06*r.NormFloat64(), math.Round(38 - outdoorC/2),
			46 + 3*math.Sin(hour) + 0.05*r.NormFloat64(), 20.5 + 0.02*r.NormFloat64(), outdoorC + 0.04*r.NormFloat64(),
			aim[2] + 30*r.NormFloat64(), aim[3] + 12*r.NormFloat64(), aim[4] + 6*r.NormFloat64(),
		}
		for i := range series {
			series[i].MaxGapMS = gapMS
			series[i].UnixMS = append(series[i].UnixMS, t.UnixMilli())
			series[i].Value = append(series[i].Value, values[i])
		}
		if n := len(spans); n > 0 && spans[n-1].Kind == kind {
			spans[n-1].ToMS = t.Add(step).UnixMilli()
		} else {
			spans = append(spans, Span{t.UnixMilli(), t.Add(step).UnixMilli(), kind})
		}
	}
	return series, spans
}

// plantAims are flow °C, spread K, heat W, power W and l/h in each state.
var plantAims = map[Kind][5]float64{
	Off: {27, 0, 0, 8, 0}, Circulating: {30, 1, 250, 60, 1150}, Heating: {38, 5, 6700, 1900, 1150},
	HotWater: {53, 6, 6900, 2700, 1240}, Defrost: {18, -5, -6800, 800, 1150},
}

func plantKind(hour float64) Kind {
	switch {
	case hour >= 5 && hour < 5.75 || hour >= 16.2 && hour < 17:
		return HotWater
	case hour > 12.5 && hour < 15 && math.Mod(hour, 0.5) > 0.25:
		return Circulating
	case hour > 15 && hour < 16 && math.Mod(hour, 0.5) > 0.25:
		return Off
	case math.Mod(hour, 95.0/60) < 0.1:
		return Defrost
	}
	return Heating
}

// plantTrace is a trace of the invented plant, with two backup hours on its
// first morning.
func plantTrace(from time.Time, last, step time.Duration, size Size) DayTrace {
	series, spans := plantDays(from, last, step)
	backup := Span{from.Add(last / 4).UnixMilli(), from.Add(last / 3).UnixMilli(), BackupOn}
	return DayTrace{
		ID: "trace", Title: "Mill Cottage, Upper Thornby", Zone: from.Location(), Size: size,
		FromMS: from.UnixMilli(), ToMS: from.Add(last).UnixMilli(), Series: series, Spans: append(spans, backup),
		Levels: []Level{{"Minimum", Rate, 900}},
	}
}

// without removes the readings and spans between two instants.
func (d DayTrace) without(from, to time.Time) DayTrace {
	series := make([]Series, len(d.Series))
	for i, s := range d.Series {
		series[i] = s
		series[i].UnixMS, series[i].Value = nil, nil
		for j, ms := range s.UnixMS {
			if ms < from.UnixMilli() || ms >= to.UnixMilli() {
				series[i].UnixMS = append(series[i].UnixMS, ms)
				series[i].Value = append(series[i].Value, s.Value[j])
			}
		}
	}
	var spans []Span
	for _, s := range d.Spans {
		if s.FromMS < from.UnixMilli() {
			spans = append(spans, Span{s.FromMS, min(s.ToMS, from.UnixMilli()), s.Kind})
		}
		if s.ToMS > to.UnixMilli() {
			spans = append(spans, Span{max(s.FromMS, to.UnixMilli()), s.ToMS, s.Kind})
		}
	}
	d.Series, d.Spans = series, spans
	return d
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// recorder is a Canvas that keeps what is drawn on it.
type recorder struct {
	texts []setText
	rects []filled
	areas []drawn
	lines []drawn
	rings []Point
	hints []string
}

type setText struct {
	text  string
	style TextStyle
	box   Box
}

type filled struct {
	role Role
	box  Box
}

type drawn struct {
	pen    Pen
	points []Point
}

func (r *recorder) Rect(fill Role, boxes ...Box) {
	for _, b := range boxes {
		r.rects = append(r.rects, filled{fill, b})
	}
}

func (r *recorder) Area(tint Role, outlines ...[]Point) {
	for _, o := range outlines {
		r.areas = append(r.areas, drawn{Pen{Role: tint}, o})
	}
}

func (r *recorder) Lines(pen Pen, lines ...[]Point) {
	for _, l := range lines {
		r.lines = append(r.lines, drawn{pen, l})
	}
}

func (r *recorder) Dot(fill Role, at Point, radius float64) {
	r.Rect(fill, Box{at.X - radius, at.Y - radius, 2 * radius, 2 * radius})
}

func (r *recorder) Ring(_ Pen, at Point, _ float64) { r.rings = append(r.rings, at) }

// Text keeps the box of the letters: 0.73 above and 0.21 of their size below
// the baseline hold capitals and descenders of Liberation Sans.
func (r *recorder) Text(style TextStyle, at Point, s string) {
	w := TextWidth(style, s)
	x := at.X - w*[...]float64{Start: 0, Middle: 0.5, End: 1}[style.Anchor]
	r.texts = append(r.texts, setText{s, style, Box{x, at.Y - 0.73*style.Size, w, 0.94 * style.Size}})
}

func (r *recorder) Hint(_ Box, s string) { r.hints = append(r.hints, s) }

func (r *recorder) said() []string {
	var all []string
	for _, t := range r.texts {
		all = append(all, t.text)
	}
	return all
}

// of returns the lines of a role as wide as data is drawn.
func (r *recorder) of(role Role) [][]Point {
	var all [][]Point
	for _, l := range r.lines {
		if l.pen.Role == role && l.pen.Width > 1 {
			all = append(all, l.points)
		}
	}
	return all
}

package chart

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// FlowDays is the flow rate of each day over weeks: its median, between what
// nine in ten and one in ten readings exceeded, beside the limits.
type FlowDays struct {
	ID, Title string // unique on the page; what the picture is of
	Days      []FlowDay
	Limits    []FlowLimit
	Findings  []FlowFinding
	Size      Size // the findings' list comes on top of the height
}

// FlowDay is one local day. What is not known is NaN; a day not listed is one
// without data. P10LPH and P90LPH are quantiles of the day's readings.
type FlowDay struct {
	Date                      time.Time // its year, month and day are used
	MedianLPH, P10LPH, P90LPH float64
}

// FlowLimit is a flow rate to compare with, such as the minimum.
type FlowLimit struct {
	Name string // "Minimum", "Commissioned", "Design"
	LPH  float64
}

// FlowFinding is what was found on a day. It is marked with a number and told
// below the chart.
type FlowFinding struct {
	Date time.Time
	Text string
}

// mostMarks is how many findings have a mark of their own.
const mostMarks = 9

// utcDay is the day as an instant of a calendar without leaps of the clock.
func utcDay(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

// noonMS is where a day's value stands.
func noonMS(t time.Time) float64 { return float64(utcDay(t).Add(12 * time.Hour).UnixMilli()) }

const dayMS = 24 * 60 * 60 * 1000

// Extent returns the size at which the chart is drawn.
func (f FlowDays) Extent() Size {
	size := f.plotSize()
	size.Height += float64(len(f.list(size.Width))) * listHeight
	return size
}

// plotSize is the size without the list.
func (f FlowDays) plotSize() Size {
	return extentOf(f.Size, leastPlotHeight).unless(len(f.sorted()) == 0)
}

// The list of findings: height of a line, and where its text begins.
const (
	listHeight = 17.0
	listIndent = 18.0
)

// SVG returns the chart as a picture of its own.
func (f FlowDays) SVG() []byte {
	s := newSVG(f.Extent(), caption{f.ID, f.Title, f.describe()})
	f.Draw(s)
	return s.bytes()
}

// sorted returns the days that have a median, by date; of a day given twice
// the first.
func (f FlowDays) sorted() []FlowDay {
	var days []FlowDay
	w := f.window()
	for _, d := range f.Days {
		if drawable(d.MedianLPH) && noonMS(d.Date) > w.fromMS {
			days = append(days, d)
		}
	}
	slices.SortStableFunc(days, func(a, b FlowDay) int { return utcDay(a.Date).Compare(utcDay(b.Date)) })
	return slices.CompactFunc(days, func(a, b FlowDay) bool { return utcDay(a.Date).Equal(utcDay(b.Date)) })
}

// mostDays is how far back from the last day the chart reaches at most.
const mostDays = 800

// window is all days given, known or not.
func (f FlowDays) window() window {
	if len(f.Days) == 0 {
		return newWindow(0, dayMS, 0)
	}
	first, last := utcDay(f.Days[0].Date), utcDay(f.Days[0].Date)
	for _, d := range f.Days {
		day := utcDay(d.Date)
		if day.Before(first) {
			first = day
		}
		if day.After(last) {
			last = day
		}
	}
	if earliest := last.AddDate(0, 0, 1-mostDays); first.Before(earliest) {
		first = earliest
	}
	return newWindow(first.UnixMilli(), last.UnixMilli()+dayMS, 0)
}

// series returns the days as samples at noon.
func (f FlowDays) series(value func(FlowDay) float64) Series {
	s := Series{Name: "Median", Role: Rate, MaxGapMS: dayMS}
	for _, d := range f.sorted() {
		s.UnixMS, s.Value = append(s.UnixMS, int64(noonMS(d.Date))), append(s.Value, value(d))
	}
	return s
}

// mostLimits is how many limits have room.
const mostLimits = 6

func (f FlowDays) limits() []FlowLimit { return f.Limits[:min(len(f.Limits), mostLimits)] }

func (f FlowDays) layout() (panel, clock) {
	size := f.plotSize()
	w := f.window()
	p := panel{topic: topicOf(Rate), window: w, narrow: size.Width < narrowWidth, zone: time.UTC}
	p.fromZero = false // a slow loss of flow has to be seen
	p.traces = []trace{newTrace(f.series(func(d FlowDay) float64 { return d.MedianLPH }), w, 0)}
	for _, l := range f.limits() {
		if drawable(l.LPH) {
			p.levels = append(p.levels, Level{l.Name, Rate, l.LPH})
		}
	}
	p.frame = Box{H: size.Height}
	p.setScale()
	p.widen(f.sorted())
	left := p.scale.numbersWidth() + 7
	top := float64(len(wrapKeys(f.legend(), size.Width-left)))*keyHeight + headingHeight + 22
	right := p.rightNeed()
	p.frame = Box{left, top, size.Width - left - right, size.Height - axisHeight - top}
	p.setScale()
	p.widen(f.sorted())
	return p, clock{w, p.frame.X, p.frame.Right(), time.UTC}
}

// widen makes the scale hold the quantiles.
func (p *panel) widen(days []FlowDay) {
	b := bounds{p.scale.low, p.scale.high}
	for _, d := range days {
		b = b.with(d.P10LPH, d.P90LPH)
	}
	if b.high > p.scale.high {
		b.high += 0.04 * (b.high - b.low)
	}
	p.scale.low, p.scale.high = b.low, b.high
}

func (f FlowDays) legend() []key {
	if len(f.sorted()) == 0 {
		return nil
	}
	keys := []key{{name: "Daily median", role: Rate, look: stroke}}
	for _, d := range f.Days {
		if drawable(d.P10LPH, d.P90LPH) {
			keys[0].look, keys[0].name = banded, "Daily median, middle 80"+nbsp+"% of readings"
			break
		}
	}
	return keys
}

// Draw puts the chart on a canvas at its extent.
func (f FlowDays) Draw(c Canvas) {
	p, clk := f.layout()
	drawKeys(c, wrapKeys(f.legend(), f.Extent().Width-p.frame.X), Point{X: p.frame.X})
	drawHeading(c, Point{p.frame.X, p.frame.Y - 24}, "Flow rate", "l/h while heating", f.Extent().Width)
	days := f.sorted()
	if len(days) == 0 {
		say(c, p.frame, "No days with flow yet")
		return
	}
	for _, hole := range f.holes(clk) {
		hatch(c, Box{clk.x(hole.fromMS), p.frame.Y, clk.x(hole.toMS) - clk.x(hole.fromMS), p.frame.H})
	}
	drawRules(c, p.frame, p.scale)
	layout{size: f.Extent(), clock: clk, panels: []panel{p}}.drawAxis(c, p.frame)
	f.drawDays(c, p, clk, days)
	p.drawLabels(c, p.frame.Right())
	for _, hole := range f.holes(clk) {
		p.sayMissing(c, extent{clk.x(hole.fromMS), clk.x(hole.toMS)})
	}
	f.drawFindings(c, p, clk)
}

// holes are the days without a median.
func (f FlowDays) holes(clk clock) []interval {
	var covered []interval
	for _, d := range f.sorted() {
		from := float64(utcDay(d.Date).UnixMilli())
		covered = append(covered, interval{from, from + dayMS})
	}
	return clk.uncovered(covered, dayMS/2)
}

// drawDays draws band, line and, while they can be told apart, the days.
func (f FlowDays) drawDays(c Canvas, p panel, clk clock, days []FlowDay) {
	for _, level := range p.levels {
		y := p.scale.y(level.Value)
		c.Lines(Pen{Role: Muted, Width: 1, Dash: LongDash}, []Point{{p.frame.X, y}, {p.frame.Right(), y}})
	}
	c.Area(Rate, f.bands(p, clk, days)...)
	c.Lines(Pen{Role: Rate, Width: 1.8}, p.traces[0].lines(clk, 1, p.scale)...)
	if dayMS/clk.pixelMS() < 6 || len(days) > mostHints {
		return
	}
	var spots [][]Point
	for _, d := range days {
		spots = append(spots, []Point{{clk.x(noonMS(d.Date)), p.scale.y(d.MedianLPH)}})
		c.Hint(Box{clk.x(noonMS(d.Date)) - 3, p.frame.Y, 6, p.frame.H}, d.describe())
	}
	c.Lines(Pen{Role: Rate, Width: 4.4}, spots...)
}

// bands returns the outlines of the quantiles, broken where days are missing.
// Where days share a column of pixels, the outermost are kept.
func (f FlowDays) bands(p panel, clk clock, days []FlowDay) [][]Point {
	quantile := func(value func(FlowDay) float64) [][]bin {
		var all [][]bin
		for _, run := range f.series(value).runs(p.window) {
			all = append(all, bins(run, clk, false))
		}
		return all
	}
	low := quantile(func(d FlowDay) float64 { return d.paired(d.P10LPH) })
	high := quantile(func(d FlowDay) float64 { return d.paired(d.P90LPH) })
	var outlines [][]Point
	for i := range low {
		var lower, upper []Point
		for j := range low[i] {
			lower = append(lower, Point{low[i][j].x, p.scale.y(low[i][j].low)})
			upper = append(upper, Point{high[i][j].x, p.scale.y(high[i][j].high)})
		}
		if len(lower) == 1 {
			x := lower[0].X
			lower, upper = []Point{{x - 2, lower[0].Y}, {x + 2, lower[0].Y}}, []Point{{x - 2, upper[0].Y}, {x + 2, upper[0].Y}}
		}
		lower, upper = thin(lower, outlineTolerance), thin(upper, outlineTolerance)
		slices.Reverse(lower)
		outlines = append(outlines, append(upper, lower...))
	}
	return outlines
}

// paired returns the quantile, or NaN unless both are known.
func (d FlowDay) paired(quantile float64) float64 {
	if !drawable(d.P10LPH, d.P90LPH) {
		return math.NaN()
	}
	return quantile
}

// inside returns the findings of the days shown, and how many there are
// besides.
func (f FlowDays) inside() (marked []FlowFinding, more int) {
	w := f.window()
	for _, finding := range f.Findings {
		if ms := noonMS(finding.Date); ms > w.fromMS && ms < w.toMS {
			marked = append(marked, finding)
		}
	}
	slices.SortStableFunc(marked, func(a, b FlowFinding) int { return utcDay(a.Date).Compare(utcDay(b.Date)) })
	if len(marked) > mostMarks {
		return marked[:mostMarks], len(marked) - mostMarks
	}
	return marked, 0
}

// list tells the findings, a line each.
func (f FlowDays) list(width float64) []string {
	marked, more := f.inside()
	var lines []string
	for _, finding := range marked {
		lines = append(lines, fitText(labelStyle, finding.Date.Format("2 Jan")+": "+finding.Text, width-listIndent))
	}
	if more > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", more))
	}
	return lines
}

// drawFindings marks the days of findings with numbered flags on top of the
// frame and lists them below.
func (f FlowDays) drawFindings(c Canvas, p panel, clk clock) {
	marked, _ := f.inside()
	style := TextStyle{Role: Ink, Size: smallSize, Bold: true, Anchor: Middle}
	wanted := make([]float64, len(marked))
	for i, finding := range marked {
		wanted[i] = clk.x(noonMS(finding.Date))
	}
	for i, x := range spread(wanted, 13, p.frame.X, p.frame.Right()) {
		c.Lines(Pen{Role: Ink, Width: 1, Dash: Dotted}, []Point{{x, p.frame.Y - 5}, {wanted[i], p.frame.Y}, {wanted[i], p.frame.Bottom()}})
		c.Text(style, Point{x, p.frame.Y - 7}, fmt.Sprint(i+1))
	}
	for i, line := range f.list(f.Extent().Width) {
		y := p.frame.Bottom() + axisHeight + listHeight*float64(i) + 11
		if i < len(marked) {
			c.Text(style, Point{8, y}, fmt.Sprint(i+1))
		}
		c.Text(labelStyle, Point{listIndent, y}, line)
	}
}

func (d FlowDay) describe() string {
	text := fmt.Sprintf("%s: median %s%sl/h", d.Date.Format("Mon 2 Jan 2006"), number(d.MedianLPH, 0), nbsp)
	if drawable(d.P10LPH, d.P90LPH) {
		text += fmt.Sprintf(", eight in ten readings from %s to %s", number(d.P10LPH, 0), number(d.P90LPH, 0))
	}
	return text
}

func (f FlowDays) describe() string {
	days := f.sorted()
	if len(days) == 0 {
		return "No days with flow yet."
	}
	b := noBounds
	for _, d := range days {
		b = b.with(d.MedianLPH)
	}
	said := []string{fmt.Sprintf("%s from %s to %s: daily median %s to %s%sl/h", counted(len(days), "day"), days[0].Date.Format("2 Jan 2006"),
		days[len(days)-1].Date.Format("2 Jan 2006"), number(b.low, 0), number(b.high, 0), nbsp)}
	for _, l := range f.limits() {
		if drawable(l.LPH) {
			said = append(said, fmt.Sprintf("%s %s%sl/h", l.Name, number(l.LPH, 0), nbsp))
		}
	}
	missing := 0.0
	for _, hole := range f.holes(clock{f.window(), 0, 1, time.UTC}) {
		missing += (hole.toMS - hole.fromMS) / dayMS
	}
	if missing > 0 {
		said = append(said, fmt.Sprintf("%.0f days without data", missing))
	}
	return sentences(append(said, f.list(greatestExtent)...)...)
}

package picture

import (
	"math"

	"coldweek/dashboards/chart"
)

const (
	textSize  = 11.0
	keyHeight = 18.0
	axisSpace = 22.0 // below, for the days
	dayLabels = 5    // a day in so many has its number
	rules     = 4    // about so many are drawn
	apart     = 6    // of the diagonals that fill a box
)

// Format writes a number of an axis.
type Format func(v float64, decimals int) string

// frame is where the values of days stand.
type frame struct {
	left, right, top, bottom float64
	low, high                float64
	days                     int
}

func (f frame) y(v float64) float64 {
	return f.bottom - (v-f.low)/(f.high-f.low)*(f.bottom-f.top)
}

// slot is the width of a day.
func (f frame) slot() float64 { return (f.right - f.left) / math.Max(1, float64(f.days)) }

// x is the left edge of a day.
func (f frame) x(day int) float64 { return f.left + float64(day)*f.slot() }

func (f frame) middle(day int) float64 { return f.x(day) + f.slot()/2 }

// newFrame rounds the span of values outwards.
func newFrame(size chart.Size, days, keyRows int, low, high float64, format Format) frame {
	if !(high > low) {
		high = low + 1
	}
	by, decimals := chart.RoundStep((high - low) / rules)
	f := frame{low: math.Floor(low/by) * by, high: math.Ceil(high/by) * by, days: days}
	f.top, f.bottom, f.right = float64(keyRows)*keyHeight+10, size.Height-axisSpace, size.Width-4
	widest := math.Max(chart.TextWidth(muted, format(f.low, decimals)), chart.TextWidth(muted, format(f.high, decimals)))
	f.left = widest + 8
	return f
}

var (
	muted = chart.TextStyle{Role: chart.Muted, Size: textSize}
	ink   = chart.TextStyle{Role: chart.Ink, Size: textSize}
)

// drawRules draws round values and the numbers of days.
func (f frame) drawRules(c chart.Canvas, format Format) {
	by, decimals := chart.RoundStep((f.high - f.low) / rules)
	var lines [][]chart.Point
	style := muted
	style.Anchor = chart.End
	for i := math.Round(f.low / by); i*by <= f.high+by/1e6; i++ {
		y := f.y(i * by)
		lines = append(lines, []chart.Point{{X: f.left, Y: y}, {X: f.right, Y: y}})
		c.Text(style, chart.Point{X: f.left - 5, Y: y + textSize*0.35}, format(i*by, decimals))
	}
	c.Lines(chart.Pen{Role: chart.Grid, Width: 1}, lines...)
	style.Anchor = chart.Middle
	for day := range f.days {
		if day == 0 || (day+1)%dayLabels == 0 {
			c.Text(style, chart.Point{X: f.middle(day), Y: f.bottom + 15}, format(float64(day+1), 0))
		}
	}
}

func (f frame) drawZero(c chart.Canvas) {
	if f.low <= 0 && f.high >= 0 {
		c.Lines(chart.Pen{Role: chart.Axis, Width: 1}, []chart.Point{{X: f.left, Y: f.y(0)}, {X: f.right, Y: f.y(0)}})
	}
}

// hatch marks days on which nothing was measured.
func (f frame) hatch(c chart.Canvas, day int) {
	hatched(c, chart.Box{X: f.x(day), Y: f.top, W: f.slot(), H: f.bottom - f.top})
}

// key is an entry of the legend; the unit has no sample.
type key struct {
	name   string
	sample func(c chart.Canvas, b chart.Box)
	row    int
	x      float64
}

const (
	sampleWidth = 14.0
	keyGap      = 16.0
)

func filled(role chart.Role) func(chart.Canvas, chart.Box) {
	return func(c chart.Canvas, b chart.Box) { c.Rect(role, b) }
}

func lined(pen chart.Pen) func(chart.Canvas, chart.Box) {
	return func(c chart.Canvas, b chart.Box) {
		c.Lines(pen, []chart.Point{{X: b.X, Y: b.Y + b.H/2}, {X: b.Right(), Y: b.Y + b.H/2}})
	}
}

func hatched(c chart.Canvas, b chart.Box) {
	c.Rect(chart.Missing, b)
	c.Lines(chart.Pen{Role: chart.MissingMark, Width: 1}, chart.Hatching(b, apart)...)
}

// striped is how values look that stand for a part of their day.
func striped(role chart.Role) func(chart.Canvas, chart.Box) {
	return func(c chart.Canvas, b chart.Box) {
		c.Rect(role, b)
		c.Lines(chart.Pen{Role: chart.Paper, Width: 2}, chart.Hatching(b, apart)...)
	}
}

// place breaks the legend into rows and returns how many there are.
func place(keys []key, width float64) int {
	row, x := 0, 0.0
	for i := range keys {
		w := keys[i].nameX() + chart.TextWidth(ink, keys[i].name)
		if x > 0 && x+w > width {
			row, x = row+1, 0
		}
		keys[i].row, keys[i].x = row, x
		x += w + keyGap
	}
	return row + 1
}

func (k key) nameX() float64 {
	if k.sample == nil {
		return 0
	}
	return sampleWidth + 6
}

func drawKeys(c chart.Canvas, keys []key) {
	for _, k := range keys {
		baseline, style := float64(k.row)*keyHeight+12, muted
		if k.sample != nil {
			style = ink
			k.sample(c, chart.Box{X: k.x, Y: baseline - 9, W: sampleWidth, H: 10})
		}
		c.Text(style, chart.Point{X: k.x + k.nameX(), Y: baseline}, k.name)
	}
}

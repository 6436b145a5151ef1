package chart

import (
	"math"
	"slices"
	"time"
)

// Heights of what stands above a panel and below the last.
const (
	headingHeight = 20.0
	axisHeight    = 38.0
)

// How far, in pixels, a drawn line, and the outline of an envelope, may miss a
// reading.
const (
	lineTolerance    = 0.4
	outlineTolerance = 0.8
)

// trace is a series ready to be drawn in its panel.
type trace struct {
	Series
	runs      [][]sample
	dash      Dash
	low, high float64
}

// newTrace readies a series; nth counts those of the same role before it, for
// which the dashes differ.
func newTrace(s Series, w window, nth int) trace {
	t := trace{Series: s, runs: s.runs(w), low: math.Inf(1), high: math.Inf(-1)}
	t.dash = [...]Dash{Solid, Dashed, Dotted, LongDash}[nth%4]
	if s.Role == Target && nth == 0 {
		t.dash = Dashed
	}
	for _, run := range t.runs {
		for _, p := range run {
			t.low, t.high = min(t.low, p.value), max(t.high, p.value)
		}
	}
	return t
}

// last returns the newest sample.
func (t trace) last() (sample, bool) {
	if len(t.runs) == 0 {
		return sample{}, false
	}
	run := t.runs[len(t.runs)-1]
	return run[len(run)-1], true
}

// lines returns the trace in pixels.
func (t trace) lines(c clock, factor float64, s scale) [][]Point {
	lines := make([][]Point, 0, len(t.runs))
	for _, run := range t.runs {
		kept := decimate(run, c.column)
		line := make([]Point, len(kept))
		for i, p := range kept {
			line[i] = Point{c.x(p.ms), s.y(p.value * factor)}
		}
		if t.Hold {
			line = stairs(line, lineTolerance)
		} else {
			line = thin(line, lineTolerance)
		}
		lines = append(lines, line)
	}
	return lines
}

// envelope returns, in pixels, the outline between least and greatest values
// and the line of the means.
func (t trace) envelope(c clock, factor float64, s scale) (outlines, means [][]Point) {
	for _, run := range t.runs {
		var low, high, mean []Point
		for _, b := range bins(run, c, t.Hold) {
			low = append(low, Point{b.x, s.y(b.low * factor)})
			high = append(high, Point{b.x, s.y(b.high * factor)})
			mean = append(mean, Point{b.x, s.y(b.mean * factor)})
		}
		low, high = thin(low, outlineTolerance), thin(high, outlineTolerance)
		slices.Reverse(low)
		outlines = append(outlines, append(high, low...))
		means = append(means, thin(mean, lineTolerance))
	}
	return outlines, means
}

// panel is one topic's place on the chart.
type panel struct {
	topic
	window
	zone   *time.Location
	narrow bool
	traces []trace
	levels []Level
	frame  Box
	scale  scale
}

func (p *panel) setScale() {
	low, high := math.Inf(1), math.Inf(-1)
	for _, t := range p.traces {
		low, high = min(low, t.low*p.factor), max(high, t.high*p.factor)
	}
	for _, level := range p.levels {
		low, high = min(low, level.Value*p.factor), max(high, level.Value*p.factor)
	}
	if low > high {
		low, high = 0, p.least
	}
	if p.fromZero {
		low, high = min(low, 0), max(high, 0)
	}
	if short := p.least - (high - low); short > 0 {
		high += short / 2
		low -= short / 2
		if p.fromZero && low < 0 && low+short/2 >= 0 {
			low, high = 0, p.least
		}
	}
	air := 0.04 * (high - low)
	if !p.fromZero || low < 0 {
		low -= air
	}
	p.scale = scale{low, high + air, p.frame.Y, p.frame.Bottom()}
}

// covered returns when any of the panel's series has readings.
func (p panel) covered() []interval {
	var all []interval
	for _, t := range p.traces {
		for _, run := range t.runs {
			all = append(all, interval{run[0].ms, run[len(run)-1].ms})
		}
	}
	return all
}

// holes returns the stretches, wide enough to see, in which the panel has no
// readings.
func (p panel) holes(c clock) []interval {
	return p.uncovered(p.covered(), 2*c.pixelMS())
}

// drawGround draws what lies behind the lines.
func (p panel) drawGround(c Canvas, clk clock) {
	for _, hole := range p.holes(clk) {
		hatch(c, Box{clk.x(hole.fromMS), p.frame.Y, clk.x(hole.toMS) - clk.x(hole.fromMS), p.frame.H})
	}
	if len(p.covered())+len(p.levels) > 0 {
		drawRules(c, p.frame, p.scale)
	}
}

// rulesApart is the least distance of the rules of a scale.
const rulesApart = 26

// drawRules draws the scale's rules and their numbers; zero stands out.
func drawRules(c Canvas, frame Box, s scale) {
	values, digits := s.ticks(rulesApart)
	var rules [][]Point
	for _, v := range values {
		y := s.y(v)
		rules = append(rules, []Point{{frame.X, y}, {frame.Right(), y}})
		c.Text(TextStyle{Role: Muted, Size: smallSize, Anchor: End}, Point{frame.X - 6, y + smallSize*0.35}, number(v, digits))
	}
	c.Lines(Pen{Role: Grid, Width: 1}, rules...)
	if s.low <= 0 && s.high > 0 {
		drawZero(c, frame, s)
	}
}

// drawZero makes the line at zero stand out, on which bars stand.
func drawZero(c Canvas, frame Box, s scale) {
	c.Lines(Pen{Role: Axis, Width: 1}, []Point{{frame.X, s.y(0)}, {frame.Right(), s.y(0)}})
}

// numbersWidth is how wide the scale's numbers are.
func (s scale) numbersWidth() float64 {
	widest := 0.0
	values, digits := s.ticks(rulesApart)
	for _, v := range values {
		widest = max(widest, TextWidth(noteStyle, number(v, digits)))
	}
	return widest
}

// hatch marks a ground as one where nothing was measured.
func hatch(c Canvas, b Box) {
	c.Rect(Missing, b)
	c.Lines(Pen{Role: MissingMark, Width: 1}, Hatching(b, 7)...)
}

// Hatching returns rising diagonals that fill a box.
func Hatching(b Box, apart float64) [][]Point {
	var lines [][]Point
	for k := math.Ceil((b.X+b.Y)/apart) * apart; k < b.Right()+b.Bottom(); k += apart {
		fromX, toX := max(b.X, k-b.Bottom()), min(b.Right(), k-b.Y)
		lines = append(lines, []Point{{fromX, k - fromX}, {toX, k - toX}})
	}
	return lines
}

// drawLines draws the levels and the traces; the first series lies on top.
func (p panel) drawLines(c Canvas, clk clock) {
	for _, level := range p.levels {
		y := p.scale.y(level.Value * p.factor)
		c.Lines(Pen{Role: Muted, Width: 1, Dash: LongDash}, []Point{{p.frame.X, y}, {clk.x(clk.untilMS), y}})
	}
	for _, t := range slices.Backward(p.traces) {
		pen := Pen{Role: t.Role, Width: 1.6, Dash: t.dash}
		if clk.coarse() {
			outlines, means := t.envelope(clk, p.factor, p.scale)
			c.Area(t.Role, outlines...)
			c.Lines(pen, means...)
		} else {
			lines := t.lines(clk, p.factor, p.scale)
			if t.Role == Power {
				c.Area(Power, p.areas(lines)...)
			}
			c.Lines(pen, lines...)
		}
		p.drawEnd(c, clk, t)
	}
}

// areas closes lines down to zero.
func (p panel) areas(lines [][]Point) [][]Point {
	zero := p.scale.y(0)
	areas := make([][]Point, 0, len(lines))
	for _, line := range lines {
		area := append([]Point{{line[0].X, zero}}, line...)
		areas = append(areas, append(area, Point{line[len(line)-1].X, zero}))
	}
	return areas
}

// drawEnd marks where a series ends: a dot where it is current, a ring where
// it fell silent.
func (p panel) drawEnd(c Canvas, clk clock, t trace) {
	last, any := t.last()
	if !any {
		return
	}
	at := Point{clk.x(last.ms), p.scale.y(last.value * p.factor)}
	if p.silent(t) {
		c.Ring(Pen{Role: t.Role, Width: 1.6}, at, 3)
	} else {
		c.Dot(t.Role, at, 2.4)
	}
}

// silent says whether a series ended well before readings are expected to.
func (p panel) silent(t trace) bool {
	last, any := t.last()
	quiet := max(float64(t.MaxGapMS), 0.01*(p.toMS-p.fromMS))
	return !any || p.untilMS-last.ms > quiet
}

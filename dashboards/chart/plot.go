package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// greatest is the largest magnitude that is drawn, in the unit of the chart.
// What lies beyond is a fault of a sensor or of arithmetic and would make
// everything else a line at the edge.
const greatest = 1e6

// drawable says whether a value can be shown.
func drawable(values ...float64) bool {
	for _, v := range values {
		if !(math.Abs(v) <= greatest) {
			return false
		}
	}
	return true
}

// bounds are the least and the greatest of some values.
type bounds struct{ low, high float64 }

var noBounds = bounds{math.Inf(1), math.Inf(-1)}

// with widens the bounds to the values that are drawable.
func (b bounds) with(values ...float64) bounds {
	for _, v := range values {
		if drawable(v) {
			b.low, b.high = min(b.low, v), max(b.high, v)
		}
	}
	return b
}

// scaled returns bounds for a scale: at least so far apart, with air, a share
// of their distance, at both ends. Bounds of nothing begin at zero.
func (b bounds) scaled(least, air float64) bounds {
	if b.low > b.high {
		return bounds{0, least}
	}
	if short := least - (b.high - b.low); short > 0 {
		b.low, b.high = b.low-short/2, b.high+short/2
	}
	air *= b.high - b.low
	return bounds{b.low - air, b.high + air}
}

// fromZero returns bounds for bars: zero is among them, and air is left where
// there are values.
func (b bounds) fromZero(least, air float64) bounds {
	low, high := min(b.low, 0), max(b.high, 0)
	if high-low < least {
		high = least
	}
	air *= high - low
	if low < 0 {
		low -= air
	}
	return bounds{low, high + air}
}

// plot is a frame with a scale of numbers across and one up.
type plot struct {
	bounds // across
	frame  Box
	scale  scale
	keys   [][]key
	empty  bool // nothing has a place on the scales
}

// rightMargin is room for half of the last number of a scale across.
const rightMargin = 10.0

// newPlot divides an extent: legend and heading above, the axis below, the
// numbers of the scale left.
func newPlot(size Size, keys []key, across, up bounds, empty bool) plot {
	p := plot{bounds: across, scale: scale{up.low, up.high, 0, size.Height - axisHeight}, empty: empty}
	left := p.scale.numbersWidth() + 8
	p.keys = wrapKeys(keys, size.Width-left)
	p.scale.top = float64(len(p.keys))*keyHeight + headingHeight + 6
	p.frame = Box{left, p.scale.top, size.Width - left - rightMargin, p.scale.bottom - p.scale.top}
	return p
}

func (p plot) x(v float64) float64 { return p.frame.X + (v-p.low)/(p.high-p.low)*p.frame.W }

func (p plot) at(x, y float64) Point { return Point{p.x(x), p.scale.y(y)} }

// drawGround draws legend, heading and both scales.
func (p plot) drawGround(c Canvas, heading, unit, across string) {
	drawKeys(c, p.keys, Point{X: p.frame.X})
	drawHeading(c, Point{p.frame.X, p.frame.Y - 9}, heading, unit, p.frame.Right())
	if p.empty {
		return
	}
	drawRules(c, p.frame, p.scale)
	p.drawAcross(c, across)
}

// say writes lines of text in the upper right, where a falling cloud leaves
// room, or in the middle of nothing.
func (p plot) say(c Canvas, lines ...string) {
	lines = slices.DeleteFunc(lines, func(s string) bool { return s == "" })
	if p.empty {
		say(c, p.frame, strings.Join(lines, "; "))
		return
	}
	style := labelStyle
	style.Anchor = End
	const leading = textSize * 1.4
	at := Point{p.frame.Right() - 6, p.frame.Y + textSize + 2}
	for _, line := range lines {
		for _, part := range wrapText(style, line, 0.62*p.frame.W) {
			if part == "" || at.Y > p.frame.Bottom()-4 {
				return
			}
			width := TextWidth(style, part)
			c.Rect(Paper, Box{at.X - width - 4, at.Y - textSize, width + 8, textSize + 4})
			c.Text(style, at, part)
			at.Y += leading
		}
	}
}

// ticksAcross returns the round values of the scale across.
func (p plot) ticksAcross() (values []float64, digits int) {
	return scale{p.low, p.high, 0, p.frame.W}.ticks(max(44, p.frame.W/14))
}

// drawUprights draws rules at values of the scale across.
func (p plot) drawUprights(c Canvas, values []float64) {
	var rules [][]Point
	for _, v := range values {
		rules = append(rules, []Point{{p.x(v), p.frame.Y}, {p.x(v), p.frame.Bottom()}})
	}
	c.Lines(Pen{Role: Grid, Width: 1}, rules...)
}

// drawAcross draws the scale across and says what it is.
func (p plot) drawAcross(c Canvas, name string) {
	style := noteStyle
	style.Anchor = Middle
	values, digits := p.ticksAcross()
	p.drawUprights(c, values)
	bottom := p.frame.Bottom()
	lines := [][]Point{{{p.frame.X, bottom}, {p.frame.Right(), bottom}}}
	next := 0.0
	for _, v := range values {
		x, text := p.x(v), number(v, digits)
		lines = append(lines, []Point{{x, bottom}, {x, bottom + 4}})
		half := TextWidth(style, text) / 2
		if x = min(x, p.frame.Right()+rightMargin-half); x-half >= next {
			c.Text(style, Point{x, bottom + 15}, text)
			next = x + half + 4
		}
	}
	c.Lines(Pen{Role: Axis, Width: 1}, lines...)
	c.Text(style, Point{p.frame.X + p.frame.W/2, bottom + 31}, fitText(style, name, p.frame.W))
}

// XY is a point of a line or of its band, in the units of its chart.
type XY struct{ X, Y float64 }

// mostOnLine is how many points of a fitted line are drawn.
const mostOnLine = 200

// points returns, in pixels, the stretches of a line that are known and lie in
// the frame.
func (p plot) points(line []XY) [][]Point {
	var all [][]Point
	var run []Point
	finish := func() {
		if len(run) > 1 {
			all = append(all, thin(run, lineTolerance))
		}
		run = nil
	}
	for i := 1; i < len(line); i++ {
		if !drawable(line[i-1].X, line[i-1].Y, line[i].X, line[i].Y) {
			finish()
			continue
		}
		a, b, inside := p.clip(p.at(line[i-1].X, line[i-1].Y), p.at(line[i].X, line[i].Y))
		if !inside || len(run) > 0 && run[len(run)-1] != a {
			finish()
		}
		if inside && len(run) == 0 {
			run = append(run, a)
		}
		if inside {
			run = append(run, b)
		}
	}
	finish()
	return all
}

// clip returns the part of the way from a to b inside the frame.
func (p plot) clip(a, b Point) (from, to Point, inside bool) {
	enter, leave := 0.0, 1.0
	cut := func(start, step, low, high float64) {
		if step == 0 {
			if start < low || start > high {
				leave = -1
			}
			return
		}
		first, last := (low-start)/step, (high-start)/step
		enter, leave = max(enter, min(first, last)), min(leave, max(first, last))
	}
	cut(a.X, b.X-a.X, p.frame.X, p.frame.Right())
	cut(a.Y, b.Y-a.Y, p.frame.Y, p.frame.Bottom())
	if enter > leave {
		return a, b, false
	}
	along := func(share float64) Point { return Point{a.X + share*(b.X-a.X), a.Y + share*(b.Y-a.Y)} }
	from, to = a, b
	if enter > 0 {
		from = along(enter)
	}
	if leave < 1 {
		to = along(leave)
	}
	return from, to, true
}

// split cuts a line at the ends of what was measured: the stretch between
// them, and what lies beyond.
func split(line []XY, measured bounds) (within, before, after []XY) {
	for _, v := range withPoint(withPoint(line, measured.low), measured.high) {
		if v.X <= measured.low {
			before = append(before, v)
		}
		if v.X >= measured.low && v.X <= measured.high {
			within = append(within, v)
		}
		if v.X >= measured.high {
			after = append(after, v)
		}
	}
	return within, before, after
}

// withPoint returns the line with a point of its own at x.
func withPoint(line []XY, x float64) []XY {
	for i := 1; i < len(line); i++ {
		if at, inside := between(line[i-1], line[i], x); inside {
			return slices.Insert(slices.Clone(line), i, at)
		}
	}
	return line
}

// between returns the point at x on the way from a to b, if x lies inside it.
func between(a, b XY, x float64) (XY, bool) {
	if !(a.X < x && x < b.X) {
		return XY{}, false
	}
	return XY{x, a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)}, true
}

// How many points of a cloud are drawn at most; a cross has more bytes.
const (
	mostSpots   = 3000
	mostCrosses = 800
)

// cloud keeps, of points that lie on one another, one of each place. Places
// grow until few enough are left, so outliers always stay.
func cloud(points []Point, most int) []Point {
	for cell := 1.0; ; cell++ {
		seen := map[[2]int]bool{}
		var kept []Point
		for _, p := range points {
			place := [2]int{int(math.Floor(p.X / cell)), int(math.Floor(p.Y / cell))}
			if !seen[place] {
				seen[place] = true
				kept = append(kept, p)
			}
		}
		if len(kept) <= most {
			return kept
		}
	}
}

// drawSpots draws points as round spots of one path.
func drawSpots(c Canvas, role Role, diameter float64, points []Point) {
	lines := make([][]Point, 0, len(points))
	for _, p := range cloud(points, mostSpots) {
		lines = append(lines, []Point{p})
	}
	c.Lines(Pen{Role: role, Width: diameter}, lines...)
}

// drawCrosses draws doubtful points.
func drawCrosses(c Canvas, role Role, points []Point) {
	const r = 2.6
	var lines [][]Point
	for _, p := range cloud(points, mostCrosses) {
		lines = append(lines, []Point{{p.X - r, p.Y - r}, {p.X + r, p.Y + r}}, []Point{{p.X - r, p.Y + r}, {p.X + r, p.Y - r}})
	}
	c.Lines(Pen{Role: role, Width: 1.3}, lines...)
}

// heightAt returns the height of a line at x.
func heightAt(line []XY, x float64) (float64, bool) {
	for i, v := range line {
		if v.X == x && drawable(v.Y) {
			return v.Y, true
		}
		if i == 0 || !drawable(line[i-1].X, line[i-1].Y, v.X, v.Y) {
			continue
		}
		if at, inside := between(line[i-1], v, x); inside {
			return at.Y, true
		}
	}
	return 0, false
}

// tooFew says how much is still missing: "Not enough days yet: 3 of 7". The
// answer is empty when there is enough.
func tooFew(what string, have, need int) string {
	switch {
	case have == 0 && need == 0:
		return fmt.Sprintf("No %s yet", what)
	case have < need:
		return fmt.Sprintf("Not enough %s yet: %d%sof%s%d", what, have, nbsp, nbsp, need)
	}
	return ""
}

// leftOut says how many values could not be drawn.
func leftOut(count int, what string) string {
	if count == 0 {
		return ""
	}
	return fmt.Sprintf("%d %s could not be drawn", count, what)
}

// sentences joins what there is to say.
func sentences(said ...string) string {
	var kept []string
	for _, s := range said {
		if s != "" {
			kept = append(kept, s)
		}
	}
	if len(kept) == 0 {
		return ""
	}
	return strings.Join(kept, "; ") + "."
}

// leastPlotHeight is the least height of a chart with one frame.
const leastPlotHeight = 200.0

// greatestExtent keeps a size that is none from making a picture that is none.
const greatestExtent = 4000.0

// extentOf returns a size no smaller than all parts need. Without a height it
// is about half as high as it is wide.
func extentOf(s Size, leastHeight float64) Size {
	width := min(max(known(s.Width), leastWidth), greatestExtent)
	height := known(s.Height)
	if height <= 0 {
		height = min(max(0.48*width, 250), 420)
	}
	return Size{width, min(max(height, leastHeight), greatestExtent)}
}

// emptyHeight is room for the words that say why there is nothing to see.
const emptyHeight = 120.0

// unless returns the size, or a low one for a chart that is empty.
func (s Size) unless(empty bool) Size {
	if empty {
		s.Height = min(s.Height, emptyHeight)
	}
	return s
}

// within returns the point of the frame that is nearest.
func (p plot) within(at Point) Point {
	return Point{min(max(at.X, p.frame.X), p.frame.Right()), min(max(at.Y, p.frame.Y), p.frame.Bottom())}
}

// drawMeasured draws a line, dashed beyond what was measured.
func (p plot) drawMeasured(c Canvas, pen Pen, line []XY, measured bounds) {
	within, before, after := split(line, measured)
	c.Lines(pen, p.points(within)...)
	pen.Dash = Dashed
	c.Lines(pen, append(p.points(before), p.points(after)...)...)
}

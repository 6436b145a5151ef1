package chart

import (
	"fmt"
	"slices"
	"strings"
)

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

// drawHead draws legend and heading.
func (p plot) drawHead(c Canvas, heading, unit string) {
	drawKeys(c, p.keys, Point{X: p.frame.X})
	drawHeading(c, Point{p.frame.X, p.frame.Y - 9}, heading, unit, p.frame.Right())
}

// drawGround draws legend, heading and both scales.
func (p plot) drawGround(c Canvas, heading, unit, across string) {
	p.drawHead(c, heading, unit)
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

// counted writes a number of things; the plural takes an s.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// leftOut says how many values could not be drawn.
func leftOut(count int, what string) string {
	if count == 0 {
		return ""
	}
	return counted(count, what) + " could not be drawn"
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
const greatestExtent = 2400.0

// extentOf returns a size no smaller than all parts need. Without a height it
// is about half as high as it is wide.
func extentOf(s Size, leastHeight float64) Size {
	width := min(max(known(s.Width), leastWidth), greatestExtent)
	height := known(s.Height)
	if height <= 0 {
		height = min(max(0.48*width, 250), 420)
	}
	return Size{width, min(max(height, leastHeight), greatestExtent/2)}
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

// drawWhisker marks a value, half as wide to both sides, with the feet of its
// interval if that is known, on a ground that lets it stand out.
func (p plot) drawWhisker(c Canvas, at Point, low, high, half, foot float64) {
	lines := [][]Point{{{at.X - half, at.Y}, {at.X + half, at.Y}}}
	if drawable(low, high) && low <= high {
		bottom, top := p.within(Point{at.X, p.scale.y(low)}).Y, p.within(Point{at.X, p.scale.y(high)}).Y
		lines = append(lines, []Point{{at.X, bottom}, {at.X, top}}, []Point{{at.X - foot, bottom}, {at.X + foot, bottom}}, []Point{{at.X - foot, top}, {at.X + foot, top}})
	}
	c.Lines(Pen{Role: Paper, Width: 4}, lines...)
	c.Lines(Pen{Role: Ink, Width: 1.6}, lines...)
}

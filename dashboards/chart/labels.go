package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// Horizontal parts of a label at the end of a line: a stroke in the line's
// colour and pattern leads from the line to the text.
const (
	leaderGap    = 5.0
	leaderLength = 14.0
	labelGap     = 4.0
)

var (
	labelStyle   = TextStyle{Role: Ink, Size: textSize}
	headingStyle = TextStyle{Role: Ink, Size: textSize, Bold: true}
	noteStyle    = TextStyle{Role: Muted, Size: smallSize}
)

// label names a line or a level where it ends.
type label struct {
	text string
	role Role
	dash Dash
	y    float64 // where the line ends
	free bool    // no line reaches the label
}

func (l label) width() float64 { return leaderLength + labelGap + TextWidth(labelStyle, l.text) }

// widestName is how wide a name of a series may be.
func (p panel) widestName() float64 {
	if p.narrow {
		return 78 // "Commissioned" fits
	}
	return 150
}

// labels returns the panel's labels in the order given, traces first.
func (p panel) labels() []label {
	var all []label
	for _, t := range p.traces {
		name := fitText(labelStyle, t.Name, p.widestName())
		l := label{text: name + ": no data", role: t.Role, dash: t.dash, y: p.frame.Y + p.frame.H/2, free: p.silent(t)}
		if last, any := t.last(); any {
			l.y = p.scale.y(last.value * p.factor)
			l.text = name + p.valueText(t, last)
		}
		all = append(all, l)
	}
	for _, level := range p.levels {
		name := fitText(labelStyle, level.Name, p.widestName())
		text := name + nbsp + p.quantity(level.Value)
		all = append(all, label{text: text, role: Muted, dash: LongDash, y: p.scale.y(level.Value * p.factor)})
	}
	return all
}

// valueText returns the last value with its unit, and its time if it is old.
func (p panel) valueText(t trace, last sample) string {
	text := nbsp + p.quantity(last.value)
	if p.silent(t) && !p.narrow {
		text += " at" + nbsp + time.UnixMilli(int64(last.ms)).In(p.zone).Format("15:04")
	}
	return text
}

// quantity writes a value; on a phone its unit stands in the heading only.
func (p panel) quantity(value float64) string {
	text := number(value*p.factor, p.digits)
	if p.narrow {
		return text
	}
	return text + nbsp + p.unit
}

// rightNeed is the room that labels need right of the plot.
func (p panel) rightNeed() float64 {
	widest := leaderLength + labelGap + TextWidth(labelStyle, "and 99 more")
	for _, l := range p.labels() {
		widest = max(widest, l.width())
	}
	return leaderGap + widest + 2
}

// leftNeed is the room that the scale's numbers need left of the plot. The
// height is not known yet, so it is measured on the finest scale that could
// come of it.
func (p panel) leftNeed() float64 {
	p.frame = Box{H: 400}
	p.setScale()
	return p.scale.numbersWidth() + 7
}

// drawWords draws heading, labels, and the words on grounds without data.
func (p panel) drawWords(c Canvas, clk clock, labelX, right float64, words bool) {
	note := p.unit
	if clk.coarse() {
		note += ", mean and extremes"
	}
	drawHeading(c, Point{p.frame.X, p.frame.Y - 7}, p.heading, note, right)
	p.drawLabels(c, labelX)
	if !words {
		return
	}
	for _, hole := range p.holes(clk) {
		p.sayMissing(c, extent{clk.x(hole.fromMS), clk.x(hole.toMS)})
	}
}

// sayMissing writes "No data" on a ground without any, on two lines if it is
// too narrow for one. On a narrower one only the hatching says it.
func (p panel) sayMissing(c Canvas, e extent) {
	style := noteStyle
	style.Anchor = Middle
	room := min(e.to-e.from-6, TextWidth(style, "No data"))
	if room < TextWidth(style, "data") {
		return
	}
	const leading = smallSize * 1.2
	lines := wrapText(style, "No data", room)
	at := Point{(e.from + e.to) / 2, p.frame.Y + p.frame.H/2}
	height := leading * float64(len(lines))
	c.Rect(Missing, Box{at.X - room/2 - 3, at.Y - height/2 - 2, room + 6, height + 4})
	for i, line := range lines {
		c.Text(style, Point{at.X, at.Y - height/2 + leading*(float64(i)+0.8)}, line)
	}
}

// drawHeading sets what a panel shows and in which unit, as far as there is
// room up to the right.
func drawHeading(c Canvas, at Point, heading, note string, right float64) {
	c.Text(headingStyle, at, heading)
	x := at.X + TextWidth(headingStyle, heading) + 6
	c.Text(noteStyle, Point{x, at.Y}, fitText(noteStyle, note, right-x))
}

// labelsApart is the least distance of labels' baselines.
const labelsApart = textSize + 2

// fewest drops the labels that have no room, the last given first, and says
// how many.
func fewest(labels []label, room float64) []label {
	count := max(1, int(room/labelsApart)+1)
	if len(labels) <= count {
		return labels
	}
	last := labels[count-1]
	more := label{text: fmt.Sprintf("and %d more", len(labels)-count+1), role: Muted, dash: Dotted, y: last.y, free: true}
	return append(labels[:count-1:count-1], more)
}

// drawLabels sets the labels from x on.
func (p panel) drawLabels(c Canvas, x float64) {
	top, bottom := p.frame.Y+labelsApart/2-4, p.frame.Bottom()-labelsApart/2+6
	labels := fewest(p.labels(), bottom-top)
	slices.SortStableFunc(labels, func(a, b label) int { return cmp.Compare(a.y, b.y) })
	wanted := make([]float64, len(labels))
	for i, l := range labels {
		wanted[i] = l.y
	}
	for i, y := range spread(wanted, labelsApart, top, bottom) {
		l := labels[i]
		if x < p.frame.Right() { // on the rules of the plot
			c.Rect(Paper, Box{x + 2, y - textSize/2, leaderGap + l.width() - 2, textSize})
		}
		l.draw(c, x+leaderGap, y)
	}
}

// draw sets a label at a height, with a stroke as a sample of its line, and a
// hair from there to where the line ended if that is elsewhere.
func (l label) draw(c Canvas, x, y float64) {
	if !l.free && math.Abs(l.y-y) > 1 {
		c.Lines(Pen{Role: l.role, Width: 1}, []Point{{x - 2, l.y}, {x + 3, y}})
	}
	c.Lines(Pen{Role: l.role, Width: 1.6, Dash: l.dash}, []Point{{x + 3, y}, {x + leaderLength, y}})
	c.Text(labelStyle, Point{x + leaderLength + labelGap, y + textSize*0.35}, l.text)
}

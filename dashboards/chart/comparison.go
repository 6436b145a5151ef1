package chart

import "math"

// Comparison is a few values of one kind side by side: this month, the last
// one, the same month of last year. The first is the one that counts.
type Comparison struct {
	ID, Title     string // unique on the page; what the picture is of
	Heading, Unit string // "Electricity", "kWh"
	Digits        int    // of the values, after the point
	Bars          []ComparedBar
	Size          Size // the height follows from the bars
}

// ComparedBar is one value; NaN when it is not known.
type ComparedBar struct {
	Name     string // "February 2026"
	Value    float64
	Note     string // what else mattered: "2.1 °C outdoors"; may be ""
	Doubtful bool   // measured in part
}

// mostBars is how many values are compared at most.
const mostBars = 12

// Heights of a compared value and of its bar.
const (
	comparedHeight = 42.0
	comparedBar    = 16.0
)

func (m Comparison) bars() []ComparedBar { return m.Bars[:min(len(m.Bars), mostBars)] }

// Extent returns the size at which the chart is drawn.
func (m Comparison) Extent() Size {
	return Size{extentOf(m.Size, 0).Width, headingHeight + 6 + comparedHeight*math.Max(1, float64(len(m.bars())))}
}

// SVG returns the chart as a picture of its own.
func (m Comparison) SVG() []byte {
	s := newSVG(m.Extent(), caption{m.ID, m.Title, m.describe()})
	m.Draw(s)
	return s.bytes()
}

// text writes a value with its unit.
func (m Comparison) text(b ComparedBar) string {
	if !drawable(b.Value) {
		return "not known"
	}
	return number(b.Value, min(max(m.Digits, 0), 3)) + nbsp + m.Unit
}

// Draw puts the chart on a canvas at its extent.
func (m Comparison) Draw(c Canvas) {
	size, bars := m.Extent(), m.bars()
	c.Text(headingStyle, Point{0, 13}, fitText(headingStyle, m.Heading, size.Width))
	if len(bars) == 0 {
		say(c, Box{0, headingHeight, size.Width, comparedHeight}, "Nothing to compare yet")
		return
	}
	room, most := 0.0, 0.0
	for _, b := range bars {
		room = max(room, TextWidth(headingStyle, m.text(b)))
		if drawable(b.Value) {
			most = max(most, b.Value)
		}
	}
	for i, b := range bars {
		row := Box{0, headingHeight + 6 + comparedHeight*float64(i), size.Width, comparedHeight}
		m.drawBar(c, row, b, i == 0, max(20, size.Width-room-10)/max(most, 1e-9))
	}
}

// drawBar draws a bar under its name and note; pixels are of one unit.
func (m Comparison) drawBar(c Canvas, row Box, b ComparedBar, first bool, pixels float64) {
	style, role := labelStyle, Idle
	if first {
		style.Bold, role = true, Power
	}
	name := fitText(style, b.Name, 0.6*row.W)
	c.Text(style, Point{row.X, row.Y + 12}, name)
	x := TextWidth(style, name) + 10
	c.Text(noteStyle, Point{x, row.Y + 12}, fitText(noteStyle, b.Note, row.W-x))
	bar := Box{row.X, row.Y + 17, 0, comparedBar}
	if drawable(b.Value) {
		bar.W = max(0, b.Value*pixels)
		c.Rect(role, bar)
	} else {
		bar.W = 60
		hatch(c, bar)
	}
	if b.Doubtful {
		drawStripes(c, bar)
	}
	c.Text(style, Point{bar.Right() + 6, bar.Y + comparedBar/2 + textSize*0.35}, m.text(b))
}

func (m Comparison) describe() string {
	if len(m.Bars) == 0 {
		return "Nothing to compare yet."
	}
	var said []string
	for _, b := range m.bars() {
		text := b.Name + " " + m.text(b)
		if b.Doubtful {
			text += ", measured in part"
		}
		if b.Note != "" {
			text += ", " + b.Note
		}
		said = append(said, text)
	}
	return sentences(said...)
}

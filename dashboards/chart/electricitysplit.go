package chart

import (
	"math"
	"slices"
)

// ElectricitySplit is where the electricity went: one bar in parts, and a line
// for each of them.
type ElectricitySplit struct {
	ID, Title string // unique on the page; what the picture is of
	Parts     []ElectricityPart
	Size      Size // the height follows from the parts
}

// ElectricityPart is one use. Its role is one of Heat, Cylinder, Defrosting,
// Backup and Idle. KWh is NaN when not known.
type ElectricityPart struct {
	Name string
	Role Role
	KWh  float64
}

// mostParts is how many uses are drawn at most.
const mostParts = 12

// Heights of the split's parts.
const (
	splitBar  = 22.0
	splitLine = 18.0
)

func (e ElectricitySplit) parts() []ElectricityPart { return e.Parts[:min(len(e.Parts), mostParts)] }

// share returns a part's share of all known ones.
func (e ElectricitySplit) share(p ElectricityPart) (share float64, known bool) {
	if !drawable(p.KWh) {
		return 0, false
	}
	total := e.total()
	return max(0, p.KWh) / max(total, 1e-9), total > 0
}

func (e ElectricitySplit) total() float64 {
	total := 0.0
	for _, p := range e.parts() {
		if drawable(p.KWh) {
			total += max(0, p.KWh)
		}
	}
	return total
}

// Extent returns the size at which the chart is drawn.
func (e ElectricitySplit) Extent() Size {
	return Size{extentOf(e.Size, 0).Width, headingHeight + 20 + splitBar + 8 + splitLine*math.Max(1, float64(len(e.parts()))) + 4}
}

// SVG returns the chart as a picture of its own.
func (e ElectricitySplit) SVG() []byte {
	s := newSVG(e.Extent(), caption{e.ID, e.Title, e.describe()})
	e.Draw(s)
	return s.bytes()
}

// Draw puts the chart on a canvas at its extent.
func (e ElectricitySplit) Draw(c Canvas) {
	size := e.Extent()
	if e.total() <= 0 {
		drawHeading(c, Point{0, 13}, "Where the electricity went", "", size.Width)
		say(c, Box{0, headingHeight, size.Width, size.Height - headingHeight}, "No electricity measured yet")
		return
	}
	drawHeading(c, Point{0, 13}, "Where the electricity went", number(e.total(), 0)+nbsp+"kWh in all", size.Width)
	e.drawSegments(c, Box{0, headingHeight + 18, size.Width, splitBar})
	e.drawList(c, headingHeight+20+splitBar+8)
}

// drawSegments draws the bar, with shares above the segments that are wide
// enough.
func (e ElectricitySplit) drawSegments(c Canvas, bar Box) {
	style := noteStyle
	style.Anchor = Middle
	const gap = 2
	shown := slices.DeleteFunc(slices.Clone(e.parts()), func(p ElectricityPart) bool { s, _ := e.share(p); return s <= 0 })
	x, free := bar.X, bar.W-gap*float64(len(shown)-1)
	for _, p := range shown {
		share, _ := e.share(p)
		segment := Box{x, bar.Y, share * free, bar.H}
		drawPart(c, p.Role, segment)
		if text := percent(share); TextWidth(style, text) <= segment.W {
			c.Text(style, Point{x + segment.W/2, bar.Y - 5}, text)
		}
		c.Hint(segment, e.tell(p))
		x += segment.W + gap
	}
}

// drawPart fills a box. The backup heater's colour is near those of hot water
// and of defrosts to some readers, so it is striped besides.
func drawPart(c Canvas, role Role, b Box) {
	c.Rect(role, b)
	if role == Backup {
		drawStripes(c, b)
	}
}

func percent(share float64) string {
	digits := 0
	if share > 0 && share < 0.095 {
		digits = 1
	}
	return number(100*share, digits) + nbsp + "%"
}

// drawList writes a line for each part, in the order of the bar.
func (e ElectricitySplit) drawList(c Canvas, top float64) {
	numbers := labelStyle
	numbers.Anchor = End
	right := min(e.Extent().Width, 340)
	for i, p := range e.parts() {
		y := top + splitLine*float64(i) + 12
		if drawable(p.KWh) {
			drawPart(c, p.Role, Box{0, y - 9, keySample, 10})
		} else {
			hatch(c, Box{0, y - 9, keySample, 10})
		}
		c.Text(labelStyle, Point{keySample + 6, y}, fitText(labelStyle, p.Name, right-keySample-6-130))
		if share, known := e.share(p); known {
			c.Text(numbers, Point{right - 54, y}, number(p.KWh, 0)+nbsp+"kWh")
			c.Text(numbers, Point{right, y}, percent(share))
		} else {
			c.Text(numbers, Point{right - 54, y}, "not known")
		}
	}
}

func (e ElectricitySplit) tell(p ElectricityPart) string {
	share, known := e.share(p)
	if !known {
		return p.Name + " not known"
	}
	return p.Name + " " + number(p.KWh, 1) + nbsp + "kWh, " + percent(share)
}

func (e ElectricitySplit) describe() string {
	if e.total() <= 0 {
		return "No electricity measured yet."
	}
	said := []string{number(e.total(), 0) + nbsp + "kWh in all"}
	for _, p := range e.parts() {
		said = append(said, e.tell(p))
	}
	return sentences(said...)
}

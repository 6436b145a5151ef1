package chart

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// HeatByOutdoor is the heat of each day against its outdoor temperature, the
// line fitted to the days, and the design heat loss beside what the line says
// of a design day.
type HeatByOutdoor struct {
	ID, Title string // unique on the page; what the picture is of
	Days      []HeatDay
	Need      int // days that a fit needs, said while there are fewer and no Fit
	// Fit is the fitted line by rising outdoor temperature, a point each
	// kelvin or closer, from the design outdoor temperature on. It is dashed
	// beyond the days it stands on.
	Fit    []HeatFit
	Design *HeatDesign // nil when not known
	// Loss is what the house is found to lose on a design day without the
	// gains of sun and people, which the design heat loss is to be compared
	// with; the days and their fit are after gains. Nil when not known.
	Loss *HeatFit
	Size Size
}

// HeatDay is one day. A doubtful one is not in the fit; Why says the reason.
type HeatDay struct {
	Date             time.Time
	OutdoorC, HeatKW float64
	Doubtful         bool
	Why              string
}

// HeatFit is the fitted heat at one outdoor temperature, with its 95 %
// interval; NaN when that is not known.
type HeatFit struct{ OutdoorC, HeatKW, LowKW, HighKW float64 }

// HeatDesign is the design heat loss at the design outdoor temperature.
type HeatDesign struct{ OutdoorC, HeatKW float64 }

// Extent returns the size at which the chart is drawn.
func (h HeatByOutdoor) Extent() Size {
	return extentOf(h.Size, leastPlotHeight).unless(h.empty())
}

// empty says whether nothing has a place on the scales.
func (h HeatByOutdoor) empty() bool {
	_, design := h.design()
	_, _, lost := h.split()
	_, loss := h.loss()
	return !design && !loss && lost == len(h.Days)
}

// SVG returns the chart as a picture of its own.
func (h HeatByOutdoor) SVG() []byte {
	s := newSVG(h.Extent(), caption{h.ID, h.Title, h.describe()})
	h.Draw(s)
	return s.bytes()
}

// split divides the days: used in the fit, doubtful, and how many cannot be
// drawn.
func (h HeatByOutdoor) split() (used, doubtful []HeatDay, lost int) {
	for _, d := range h.Days {
		switch {
		case !drawable(d.OutdoorC, d.HeatKW):
			lost++
		case d.Doubtful:
			doubtful = append(doubtful, d)
		default:
			used = append(used, d)
		}
	}
	return used, doubtful, lost
}

func (h HeatByOutdoor) measured(days []HeatDay) bounds {
	b := noBounds
	for _, d := range days {
		b = b.with(d.OutdoorC)
	}
	return b
}

func (h HeatByOutdoor) design() (HeatDesign, bool) {
	if h.Design == nil || !drawable(h.Design.OutdoorC, h.Design.HeatKW) {
		return HeatDesign{}, false
	}
	return *h.Design, true
}

func (h HeatByOutdoor) loss() (HeatFit, bool) {
	if h.Loss == nil || !drawable(h.Loss.OutdoorC, h.Loss.HeatKW) {
		return HeatFit{}, false
	}
	return *h.Loss, true
}

// line returns the fitted line, and its interval's edges.
func (h HeatByOutdoor) line() (middle, low, high []XY) {
	for _, f := range h.Fit[:min(len(h.Fit), mostOnLine)] {
		middle = append(middle, XY{f.OutdoorC, f.HeatKW})
		low = append(low, XY{f.OutdoorC, f.LowKW})
		high = append(high, XY{f.OutdoorC, f.HighKW})
	}
	return middle, low, high
}

func (h HeatByOutdoor) plot() plot {
	across, up := noBounds, noBounds
	for _, d := range h.Days {
		if drawable(d.OutdoorC, d.HeatKW) {
			across, up = across.with(d.OutdoorC), up.with(d.HeatKW)
		}
	}
	if d, known := h.design(); known {
		across, up = across.with(d.OutdoorC), up.with(d.HeatKW)
	}
	if l, known := h.loss(); known {
		across, up = across.with(l.OutdoorC), up.with(l.HeatKW, l.HighKW)
	}
	for _, f := range h.Fit {
		if f.OutdoorC >= across.low && f.OutdoorC <= across.high {
			up = up.with(max(0, f.HeatKW), max(0, f.HighKW))
		}
	}
	return newPlot(h.Extent(), h.legend(), across.scaled(5, 0.04), up.fromZero(1, 0.06), h.empty())
}

func (h HeatByOutdoor) legend() []key {
	used, doubtful, _ := h.split()
	var keys []key
	if len(used) > 0 {
		keys = append(keys, key{name: "Day", role: Heat, look: spot})
	}
	if len(doubtful) > 0 {
		keys = append(keys, key{name: "Doubtful day, not in the fit", role: Muted, look: cross})
	}
	if len(h.Fit) > 0 {
		keys = append(keys, key{name: "Fit with 95" + nbsp + "% interval", role: Ink, look: banded},
			key{name: "Beyond the days", role: Ink, look: stroke, dash: Dashed})
	}
	if _, known := h.design(); known {
		keys = append(keys, key{name: "Design heat loss", role: Power, look: diamond})
	}
	if _, known := h.loss(); known {
		keys = append(keys, key{name: "Loss without gains, as measured", role: Ink, look: whisker})
	}
	return keys
}

// Draw puts the chart on a canvas at its extent.
func (h HeatByOutdoor) Draw(c Canvas) {
	p := h.plot()
	used, doubtful, _ := h.split()
	p.drawGround(c, "Heat", "kW, mean of the day", "Outdoor temperature, mean of the day, °C")
	p.drawBand(c, h.Fit)
	drawSpots(c, Heat, 5, h.places(p, used))
	drawCrosses(c, Muted, h.places(p, doubtful))
	h.drawFit(c, p, h.measured(used))
	h.drawDesign(c, p)
	p.say(c, append([]string{h.missing(len(used))}, h.atDesign()...)...)
	h.drawHints(c, p)
}

func (h HeatByOutdoor) places(p plot, days []HeatDay) []Point {
	points := make([]Point, 0, len(days))
	for _, d := range days {
		points = append(points, p.at(d.OutdoorC, d.HeatKW))
	}
	return points
}

// missing says why there is no fit.
func (h HeatByOutdoor) missing(used int) string {
	if len(h.Fit) > 0 {
		return ""
	}
	return tooFew("days", used, h.Need)
}

// drawBand tints the interval of a fit.
func (p plot) drawBand(c Canvas, fit []HeatFit) {
	var high, low []Point
	for _, f := range fit {
		if drawable(f.OutdoorC, f.LowKW, f.HighKW) && f.OutdoorC >= p.low && f.OutdoorC <= p.high {
			high = append(high, p.within(p.at(f.OutdoorC, f.HighKW)))
			low = append(low, p.within(p.at(f.OutdoorC, f.LowKW)))
		}
	}
	if len(high) < 2 {
		return
	}
	slices.Reverse(low)
	c.Area(Ink, append(high, low...))
}

func (h HeatByOutdoor) drawFit(c Canvas, p plot, measured bounds) {
	middle, _, _ := h.line()
	p.drawMeasured(c, Pen{Role: Ink, Width: 2}, middle, measured)
}

// drawDesign marks the design point.
func (h HeatByOutdoor) drawDesign(c Canvas, p plot) {
	if d, known := h.design(); known {
		at := p.at(d.OutdoorC, d.HeatKW)
		c.Lines(Pen{Role: Muted, Width: 1, Dash: Dotted}, []Point{{at.X, p.frame.Bottom()}, at})
		drawDiamond(c, Power, at)
	}
	if l, known := h.loss(); known {
		p.drawLoss(c, l)
	}
}

// drawLoss marks the loss without gains and its interval, beside the design
// point.
func (p plot) drawLoss(c Canvas, l HeatFit) {
	const aside, half, foot = 12, 6, 4
	at := p.at(l.OutdoorC, l.HeatKW)
	at.X += aside
	p.drawWhisker(c, at, l.LowKW, l.HighKW, half, foot)
}

// atDesign tells the design heat loss beside what was measured.
func (h HeatByOutdoor) atDesign() []string {
	d, known := h.design()
	if !known {
		return nil
	}
	lines := []string{fmt.Sprintf("At %s%s°C: design %s%skW", number(d.OutdoorC, 0), nbsp, number(d.HeatKW, 1), nbsp)}
	if l, known := h.loss(); known {
		lines = append(lines, "loss without gains "+l.describe())
	}
	if f, known := h.fittedAt(d.OutdoorC); known {
		lines = append(lines, "fit, after gains, "+f.describe())
	}
	return lines
}

// fittedAt returns the fit at an outdoor temperature.
func (h HeatByOutdoor) fittedAt(outdoorC float64) (HeatFit, bool) {
	middle, low, high := h.line()
	at := func(line []XY) float64 {
		if y, known := heightAt(line, outdoorC); known {
			return y
		}
		return math.NaN()
	}
	f := HeatFit{outdoorC, at(middle), at(low), at(high)}
	return f, drawable(f.HeatKW)
}

// describe tells the heat with its interval.
func (f HeatFit) describe() string {
	text := number(f.HeatKW, 1) + nbsp + "kW"
	if drawable(f.LowKW, f.HighKW) {
		text += fmt.Sprintf(" (%s to %s)", number(f.LowKW, 1), number(f.HighKW, 1))
	}
	return text
}

// mostHints is how many points have words of their own at most.
const mostHints = 120

func (h HeatByOutdoor) drawHints(c Canvas, p plot) {
	if len(h.Days) > mostHints {
		return
	}
	for _, d := range h.Days {
		if !drawable(d.OutdoorC, d.HeatKW) {
			continue
		}
		at := p.at(d.OutdoorC, d.HeatKW)
		c.Hint(Box{at.X - 4, at.Y - 4, 8, 8}, d.describe())
	}
}

func (d HeatDay) describe() string {
	text := fmt.Sprintf("%s: %s%skW at %s%s°C", d.Date.Format("Mon 2 Jan 2006"), number(d.HeatKW, 1), nbsp, number(d.OutdoorC, 1), nbsp)
	if d.Doubtful {
		text += ", doubtful"
		if d.Why != "" {
			text += ": " + d.Why
		}
	}
	return text
}

func (h HeatByOutdoor) describe() string {
	used, doubtful, lost := h.split()
	said := []string{h.missing(len(used))}
	if len(used) > 0 {
		b := h.measured(used)
		said = append(said, fmt.Sprintf("%s between %s and %s%s°C", counted(len(used), "day"), number(b.low, 1), number(b.high, 1), nbsp))
	}
	if len(doubtful) > 0 {
		said = append(said, counted(len(doubtful), "doubtful day"))
	}
	said = append(said, leftOut(lost, "day"))
	return sentences(append(said, h.atDesign()...)...)
}

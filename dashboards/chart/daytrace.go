package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// DayTrace is what a plant measured on one clock, in panels under each other:
// temperatures, heat and electricity, flow rate, and above them what the plant
// was doing. The range may be ten minutes or several weeks.
type DayTrace struct {
	ID           string // unique on the page
	Title        string // what the picture is of, for who cannot see it
	FromMS, ToMS int64
	NowMS        int64          // readings are not expected after it; 0 when the range is past
	Zone         *time.Location // the site's; nil for UTC
	Series       []Series       // the Role says in which panel; of a role that belongs to none is not drawn
	Spans        []Span
	Levels       []Level
	Size         Size // a phone's is about 380 wide, a page's 960 to 1200
}

// Level is a value drawn across the panel of its role for comparison, such as
// a minimum flow rate.
type Level struct {
	Name  string
	Role  Role
	Value float64
}

// topic is a kind of panel.
type topic struct {
	heading, unit string
	factor        float64 // from the series' unit to the panel's
	digits        int     // of a value in a label
	roles         []Role
	weight        float64 // share of the height
	fromZero      bool
	least         float64 // least extent of the scale
}

var topics = []topic{
	{"Temperature", "°C", 1, 1, []Role{Flow, Return, Target, Cylinder, Room, Outdoor}, 5, false, 10},
	{"Heat and electricity", "kW", 0.001, 2, []Role{Heat, Power, Backup}, 3, true, 1},
	{"Flow rate", "l/h", 1, 0, []Role{Rate}, 2, true, 100},
}

func (t topic) holds(r Role) bool {
	for _, own := range t.roles {
		if own == r {
			return true
		}
	}
	return false
}

// topicOf returns the topic of a role. One of none is drawn as it comes.
func topicOf(r Role) topic {
	for _, t := range topics {
		if t.holds(r) {
			return t
		}
	}
	return topic{factor: 1, digits: 1, least: 1}
}

// narrowWidth is the width below which a chart is laid out for a phone.
const narrowWidth = 560

// The least sizes at which all parts have room. What is asked to be smaller is
// drawn at these.
const (
	leastWidth       = 260
	leastPanelHeight = 36.0
	panelGap         = 14.0
)

func (d DayTrace) zone() *time.Location {
	if d.Zone == nil {
		return time.UTC
	}
	return d.Zone
}

// SVG returns the trace as a picture of its own.
func (d DayTrace) SVG() []byte {
	l := d.layout()
	s := newSVG(l.size, caption{d.ID, d.Title, d.describe(l)},
		"data-from-ms", strconv.FormatInt(d.FromMS, 10), "data-to-ms", strconv.FormatInt(d.ToMS, 10),
		"data-left", decimal(l.clock.left), "data-right", decimal(l.clock.right))
	l.draw(s)
	return s.bytes()
}

// Extent returns the size at which the trace is drawn.
func (d DayTrace) Extent() Size { return d.layout().size }

// Draw puts the trace on a canvas at its extent.
func (d DayTrace) Draw(c Canvas) { d.layout().draw(c) }

// layout is where everything of a trace goes.
type layout struct {
	size   Size
	clock  clock
	ribbon ribbon
	panels []panel
	labelX float64 // where labels begin
	empty  string  // said in the place of data
}

func (d DayTrace) layout() layout {
	size := Size{max(d.Size.Width, leastWidth), max(d.Size.Height, axisHeight+60)}
	l := layout{size: size}
	if d.ToMS <= d.FromMS {
		l.empty = "No time chosen"
		l.clock = clock{newWindow(0, 1, 0), 8, size.Width - 8, d.zone()}
		return l
	}
	w := newWindow(d.FromMS, d.ToMS, d.NowMS)
	l.panels = d.panels(w, size.Width < narrowWidth)
	l.divide(w, d.zone())
	l.ribbon = newRibbon(d.Spans, l.clock, size.Width-l.clock.left, l.isMissing())
	l.place()
	if l.isEmpty() {
		l.empty = "No readings " + d.period()
	}
	return l
}

// divide shares the width: the scale's numbers left, labels right. Labels
// stand in the plot if what is still to come of it has room for them.
func (l *layout) divide(w window, zone *time.Location) {
	// The last tick's label may reach over the edge of the plot.
	reach := TextWidth(noteStyle, "00:00")/2 + 1
	left, need := reach, 0.0
	for _, p := range l.panels {
		left = max(left, p.leftNeed())
		need = max(need, p.rightNeed())
	}
	l.clock = clock{w, left, l.size.Width - reach, zone}
	l.labelX = l.clock.x(w.untilMS)
	if l.clock.right-l.labelX < need {
		l.clock.right = min(l.clock.right, l.size.Width-need)
		l.labelX = l.clock.right
	}
}

// period names the range in the site's time.
func (d DayTrace) period() string {
	from, until := time.UnixMilli(d.FromMS).In(d.zone()), time.UnixMilli(d.ToMS).In(d.zone())
	const day, minute = "Mon 2 Jan 2006", "Mon 2 Jan 2006, 15:04"
	if from.Equal(dayOf(from)) && until.Equal(dayOf(until)) {
		if last := until.Add(-time.Millisecond); last.Format(day) != from.Format(day) {
			return "from " + from.Format(day) + " to " + last.Format(day)
		}
		return "on " + from.Format(day)
	}
	return "from " + from.Format(minute) + " to " + until.Format(minute)
}

func (l layout) isEmpty() bool {
	for _, p := range l.panels {
		if len(p.covered()) > 0 {
			return false
		}
	}
	return len(l.ribbon.states) == 0
}

// isMissing says whether any panel has a stretch without readings.
func (l layout) isMissing() bool {
	for _, p := range l.panels {
		if len(p.holes(l.clock)) > 0 {
			return true
		}
	}
	return false
}

// place shares the height between the panels.
func (l *layout) place() {
	y, fixed, weight := l.ribbon.height(), l.ribbon.height()+axisHeight, 0.0
	for _, p := range l.panels {
		fixed += headingHeight + panelGap
		weight += p.weight
	}
	for _, p := range l.panels {
		l.size.Height = max(l.size.Height, math.Ceil(fixed+leastPanelHeight*weight/p.weight))
	}
	for i := range l.panels {
		p := &l.panels[i]
		y += headingHeight
		p.frame = Box{l.clock.left, y, l.clock.right - l.clock.left, (l.size.Height - fixed) * p.weight / weight}
		p.setScale()
		y = p.frame.Bottom() + panelGap
	}
}

func (d DayTrace) panels(w window, narrow bool) []panel {
	var all []panel
	for _, t := range topics {
		p := panel{topic: t, window: w, narrow: narrow, zone: d.zone()}
		used := map[Role]int{}
		for _, s := range d.Series {
			if t.holds(s.Role) {
				p.traces = append(p.traces, newTrace(s, w, used[s.Role]))
				used[s.Role]++
			}
		}
		if len(p.traces) == 0 {
			continue
		}
		for _, level := range d.Levels {
			if t.holds(level.Role) {
				p.levels = append(p.levels, level)
			}
		}
		all = append(all, p)
	}
	return all
}

func (l layout) draw(c Canvas) {
	frame := l.plotFrame()
	l.ribbon.drawBands(c, l.clock, frame.Bottom())
	l.ribbon.draw(c, l.clock)
	for _, p := range l.panels {
		p.drawGround(c, l.clock)
	}
	l.drawAxis(c, frame)
	for _, p := range l.panels {
		p.drawLines(c, l.clock)
		p.drawWords(c, l.clock, l.labelX, l.size.Width, l.empty == "")
	}
	if l.empty != "" {
		l.drawEmpty(c, frame)
	}
}

// plotFrame spans all panels.
func (l layout) plotFrame() Box {
	frame := Box{l.clock.left, headingHeight, l.clock.right - l.clock.left, l.size.Height - axisHeight - headingHeight}
	if len(l.panels) > 0 {
		frame.Y = l.panels[0].frame.Y
		frame.H = l.panels[len(l.panels)-1].frame.Bottom() - frame.Y
	}
	return frame
}

// drawEmpty says why there is nothing to see.
func (l layout) drawEmpty(c Canvas, frame Box) {
	if len(l.panels) > 0 {
		frame = l.panels[0].frame
	}
	say(c, frame, l.empty)
}

// say writes words in the middle of a frame: as many lines as it has room for, the
// description has them all.
func say(c Canvas, frame Box, words string) {
	style := TextStyle{Role: Ink, Size: textSize, Anchor: Middle}
	lines := wrapText(style, words, frame.W-24)
	middle := Point{frame.X + frame.W/2, frame.Y + frame.H/2}
	const leading = textSize * 1.4
	lines = lines[:min(len(lines), max(1, int(frame.H/leading)-1))]
	first := middle.Y - float64(len(lines)-1)/2*leading
	width := 0.0
	for _, line := range lines {
		width = max(width, TextWidth(style, line))
	}
	c.Rect(Paper, Box{middle.X - width/2 - 8, first - leading, width + 16, leading * (float64(len(lines)) + 0.5)})
	for i, line := range lines {
		if line != "" {
			c.Text(style, Point{middle.X, first + float64(i)*leading}, line)
		}
	}
}

// describe tells the content in words.
func (d DayTrace) describe(l layout) string {
	if l.empty != "" {
		return l.empty + "."
	}
	said := []string{"Readings " + d.period()}
	for _, p := range l.panels {
		for _, t := range p.traces {
			said = append(said, p.describe(t))
		}
	}
	said = append(said, l.ribbon.describe()...)
	missingMS := 0.0
	for _, hole := range l.clock.uncovered(l.covered(), l.clock.pixelMS()) {
		missingMS += hole.toMS - hole.fromMS
	}
	if missingMS > 0 {
		said = append(said, fmt.Sprintf("no data for %s", duration(missingMS)))
	}
	return strings.Join(said, "; ") + "."
}

// covered returns when any series has readings.
func (l layout) covered() []interval {
	var all []interval
	for _, p := range l.panels {
		all = append(all, p.covered()...)
	}
	return all
}

// duration writes a length of time in hours and minutes.
func duration(ms float64) string {
	minutes := int(math.Round(ms / 60_000))
	switch {
	case minutes < 60:
		return fmt.Sprintf("%d%smin", minutes, nbsp)
	case minutes%60 == 0:
		return fmt.Sprintf("%d%sh", minutes/60, nbsp)
	}
	return fmt.Sprintf("%d%sh %d%smin", minutes/60, nbsp, minutes%60, nbsp)
}

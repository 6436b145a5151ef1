package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// RunLengths is how many runs of the compressor lasted how long. Short ones
// are struck out and counted.
type RunLengths struct {
	ID, Title    string // unique on the page; what the picture is of
	Classes      []RunClass
	ShortMinutes float64 // runs below it are short
	Size         Size
}

// RunClass is the runs that lasted less than BelowMinutes and not less than
// the class before; of the last class it is +Inf.
type RunClass struct {
	BelowMinutes float64
	Count        int
}

// runEdges are where classes end, in minutes.
var runEdges = []float64{5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 360, 720}

// ClassRuns counts runs into classes, one of whose edges is the limit of short
// ones. Runs without a length that can be are left out.
func ClassRuns(minutes []float64, shortMinutes float64) []RunClass {
	edges := slices.Clone(runEdges)
	if i, found := slices.BinarySearch(edges, shortMinutes); !found && shortMinutes > 0 && drawable(shortMinutes) {
		edges = slices.Insert(edges, i, shortMinutes)
	}
	var classes []RunClass
	for _, e := range append(edges, math.Inf(1)) {
		classes = append(classes, RunClass{BelowMinutes: e})
	}
	for _, m := range minutes {
		if !(m >= 0) || math.IsInf(m, 0) {
			continue
		}
		i := slices.IndexFunc(classes, func(c RunClass) bool { return m < c.BelowMinutes })
		classes[i].Count++
	}
	return classes
}

// Extent returns the size at which the chart is drawn.
func (r RunLengths) Extent() Size {
	return extentOf(r.Size, leastPlotHeight).unless(len(r.classes()) == 0)
}

// SVG returns the chart as a picture of its own.
func (r RunLengths) SVG() []byte {
	s := newSVG(r.Extent(), caption{r.ID, r.Title, r.describe()})
	r.Draw(s)
	return s.bytes()
}

// classes returns the classes by length, without empty ones at the long end.
func (r RunLengths) classes() []RunClass {
	classes := slices.DeleteFunc(slices.Clone(r.Classes), func(c RunClass) bool { return !(c.BelowMinutes > 0) || c.Count < 0 })
	slices.SortStableFunc(classes, func(a, b RunClass) int { return cmp.Compare(a.BelowMinutes, b.BelowMinutes) })
	for len(classes) > 0 && classes[len(classes)-1].Count == 0 {
		classes = classes[:len(classes)-1]
	}
	return classes[:min(len(classes), mostClasses)]
}

// mostClasses is how many classes have room.
const mostClasses = 40

// count returns all runs and the short ones.
func (r RunLengths) count() (all, short int) {
	for _, c := range r.classes() {
		all += c.Count
		if r.isShort(c) {
			short += c.Count
		}
	}
	return all, short
}

func (r RunLengths) isShort(c RunClass) bool {
	return drawable(r.ShortMinutes) && c.BelowMinutes <= r.ShortMinutes
}

func (r RunLengths) plot() plot {
	up := noBounds
	classes := r.classes()
	for _, c := range classes {
		up = up.with(float64(c.Count))
	}
	return newPlot(r.Extent(), r.legend(), bounds{0, math.Max(1, float64(len(classes)))}, up.fromZero(4, 0.1), len(classes) == 0)
}

func (r RunLengths) legend() []key {
	all, short := r.count()
	if short == 0 {
		return nil
	}
	limit := number(r.ShortMinutes, 0) + nbsp + "min"
	return []key{
		{name: fmt.Sprintf("Short, less than %s: %d of %d (%s%s%%)", limit, short, all, number(100*float64(short)/float64(all), 0), nbsp), role: Backup, height: 1, look: striped},
		{name: "Longer", role: Heat, height: 1},
	}
}

// Draw puts the chart on a canvas at its extent.
func (r RunLengths) Draw(c Canvas) {
	p, classes := r.plot(), r.classes()
	p.drawHead(c, "Compressor runs", "number of runs by their length")
	if len(classes) == 0 {
		say(c, p.frame, "No whole runs yet")
		return
	}
	drawRules(c, p.frame, p.scale)
	var short, long []Box
	var values []value
	from := 0.0
	for i, class := range classes {
		bar := p.upright(p.x(float64(i)+0.08), 0.84*p.slot(), float64(class.Count))
		if r.isShort(class) {
			short = append(short, bar)
		} else {
			long = append(long, bar)
		}
		if class.Count > 0 {
			values = append(values, value{fmt.Sprint(class.Count), Point{p.x(float64(i) + 0.5), bar.Y - 4}})
		}
		c.Hint(Box{bar.X, p.frame.Y, bar.W, p.frame.H}, class.describe(from))
		from = class.BelowMinutes
	}
	c.Rect(Heat, long...)
	c.Rect(Backup, short...)
	drawStripes(c, short...)
	drawIfRoom(c, values, p.slot())
	drawZero(c, p.frame, p.scale)
	r.drawEdges(c, p, classes)
}

// drawEdges writes the length at each edge between classes, as far as there
// is room.
func (r RunLengths) drawEdges(c Canvas, p plot, classes []RunClass) {
	style := noteStyle
	style.Anchor = Middle
	bottom, next := p.frame.Bottom(), math.Inf(-1)
	var ticks [][]Point
	for i := range len(classes) + 1 {
		text := "0"
		if i > 0 {
			text = runLength(classes[i-1].BelowMinutes)
		}
		x := p.x(float64(i))
		ticks = append(ticks, []Point{{x, bottom}, {x, bottom + 4}})
		half := TextWidth(style, text) / 2
		if x-half < next || x+half > r.Extent().Width {
			continue
		}
		c.Text(style, Point{x, bottom + 15}, text)
		next = x + half + 5
	}
	c.Lines(Pen{Role: Axis, Width: 1}, ticks...)
	c.Text(style, Point{p.frame.X + p.frame.W/2, bottom + 31}, "Length of a run")
}

// runLength writes minutes, or hours when they are whole ones and more than
// one.
func runLength(minutes float64) string {
	switch {
	case math.IsInf(minutes, 0):
		return "longer"
	case minutes >= 120 && math.Mod(minutes, 60) == 0:
		return number(minutes/60, 0) + nbsp + "h"
	case !drawable(minutes):
		return "\u2026"
	case minutes == math.Trunc(minutes):
		return number(minutes, 0) + nbsp + "min"
	}
	return number(minutes, 1) + nbsp + "min"
}

func (c RunClass) describe(fromMinutes float64) string {
	length := fmt.Sprintf("%s to %s", runLength(fromMinutes), runLength(c.BelowMinutes))
	if math.IsInf(c.BelowMinutes, 0) {
		length = runLength(fromMinutes) + " or longer"
	}
	return length + ": " + counted(c.Count, "run")
}

func (r RunLengths) describe() string {
	all, short := r.count()
	if all == 0 {
		return "No whole runs yet."
	}
	said := []string{counted(all, "run")}
	if r.ShortMinutes > 0 && drawable(r.ShortMinutes) {
		said[0] += fmt.Sprintf(", %d of them shorter than %s", short, runLength(r.ShortMinutes))
	}
	from := 0.0
	for _, class := range r.classes() {
		if class.Count > 0 {
			said = append(said, class.describe(from))
		}
		from = class.BelowMinutes
	}
	return sentences(said...)
}

package chart

import (
	"math"
	"slices"
	"strings"
)

// PipeTree is the pipework from the heat pump to what it serves: each leg with
// its size, length, velocity and pressure loss. The index circuit is the thick
// line; legs faster than they should be have chevrons.
type PipeTree struct {
	ID, Title    string // unique on the page; what the picture is of
	Legs         []PipeLeg
	IndexLossKPa *float64 // pressure loss of the index circuit, nil when not known
	Size         Size     // the height follows from the legs
}

// PipeLeg is one leg, flow and return together. What is not known is NaN.
type PipeLeg struct {
	Name       string
	Parent     int // index of the leg it leaves from, which stands before it; -1 at the heat pump
	Size       string
	LengthM    float64
	VelocityMS float64
	LossPaPerM float64
	OnIndex    bool
	TooFast    bool
}

// mostLegs is how many legs are drawn; those of the index circuit always are.
const mostLegs = 90

// Heights of the tree's parts.
const (
	legHeight       = 25.0
	legHeightNarrow = 38.0
	treeHeader      = 26.0
)

// branch is a leg at its place in the drawing.
type branch struct {
	PipeLeg
	depth, parent int // parent is the row it hangs on, -1 for the heat pump
}

// branches returns the legs from the heat pump outward, each below what it
// leaves from, and how many are left out.
func (t PipeTree) branches() (rows []branch, left int) {
	below := make([][]int, len(t.Legs)+1)
	for i, l := range t.Legs {
		parent := l.Parent
		if parent < 0 || parent >= i {
			parent = -1
		}
		below[parent+1] = append(below[parent+1], i)
	}
	kept := t.kept(below)
	var walk func(leg, depth, row int)
	walk = func(leg, depth, row int) {
		for _, i := range below[leg+1] {
			if kept[i] {
				rows = append(rows, branch{t.Legs[i], depth, row})
				walk(i, depth+1, len(rows)-1)
			}
		}
	}
	walk(-1, 0, -1)
	return rows, len(t.Legs) - len(rows)
}

// kept says which legs are drawn: those nearest to the heat pump, and the
// index circuit.
func (t PipeTree) kept(below [][]int) []bool {
	kept := make([]bool, len(t.Legs))
	room := mostLegs
	keep := func(i int) {
		if !kept[i] && room > 0 {
			kept[i], room = true, room-1
		}
	}
	for i, l := range t.Legs {
		if l.OnIndex && (l.Parent < 0 || l.Parent >= i || kept[l.Parent]) {
			keep(i)
		}
	}
	for level := below[0]; len(level) > 0 && room > 0; {
		var next []int
		for _, i := range level {
			keep(i)
			if kept[i] {
				next = append(next, below[i+1]...)
			}
		}
		level = next
	}
	return kept
}

// treeLayout is where everything of the tree goes.
type treeLayout struct {
	size   Size
	rows   []branch
	left   int
	narrow bool
	keys   [][]key
	top    float64 // of the row of the heat pump
	step   float64 // between depths
	deep   float64 // greatest indent
	table  float64 // where the columns begin
	most   float64 // greatest loss per metre
}

func (t PipeTree) layout() treeLayout {
	width := extentOf(t.Size, 0).Width
	l := treeLayout{narrow: width < narrowWidth, keys: wrapKeys(t.legend(), width)}
	l.rows, l.left = t.branches()
	l.table, l.top = width, float64(len(l.keys))*keyHeight+6
	if !l.narrow {
		l.table, l.top = width-columnsWidth, l.top+treeHeader
	}
	l.deep = 0.4 * l.table
	depth := 1
	for _, r := range l.rows {
		depth = max(depth, r.depth+1)
		if drawable(r.LossPaPerM) {
			l.most = max(l.most, r.LossPaPerM)
		}
	}
	l.step = min(18, l.deep/float64(depth))
	l.table = min(l.table, l.widestName()+24)
	rows := float64(len(l.rows) + 1)
	if l.left > 0 {
		rows++
	}
	l.size = Size{width, l.top + legHeight + (rows-1)*l.rowHeight() + 4}
	return l
}

// widestName returns where the longest name ends, so that figures are not far
// from it.
func (l treeLayout) widestName() float64 {
	if l.narrow {
		return l.table
	}
	widest := 200.0
	for _, r := range l.rows {
		widest = max(widest, l.x(r.depth)+6+TextWidth(headingStyle, r.Name))
	}
	return widest
}

func (l treeLayout) rowHeight() float64 {
	if l.narrow {
		return legHeightNarrow
	}
	return legHeight
}

// y returns the middle of a row's name; -1 is the heat pump's.
func (l treeLayout) y(row int) float64 {
	if row < 0 {
		return l.top + legHeight/2
	}
	return l.top + legHeight + float64(row)*l.rowHeight() + legHeight/2
}

// x returns where a leg of a depth ends and its name begins.
func (l treeLayout) x(depth int) float64 { return 8 + min(l.deep, l.step*float64(depth+1)) }

// Extent returns the size at which the tree is drawn.
func (t PipeTree) Extent() Size { return t.layout().size }

// SVG returns the tree as a picture of its own.
func (t PipeTree) SVG() []byte {
	s := newSVG(t.Extent(), caption{t.ID, t.Title, t.describe()})
	t.Draw(s)
	return s.bytes()
}

func (t PipeTree) legend() []key {
	var keys []key
	index, fast := false, false
	for _, l := range t.Legs {
		index, fast = index || l.OnIndex, fast || l.TooFast
	}
	if index {
		name := "Index circuit"
		if t.IndexLossKPa != nil && drawable(*t.IndexLossKPa) {
			name += ", " + number(*t.IndexLossKPa, 1) + nbsp + "kPa"
		}
		keys = append(keys, key{name: name, role: Flow, look: thick})
	}
	if fast {
		keys = append(keys, key{name: "Too fast", role: Backup, look: chevrons})
	}
	return keys
}

// Draw puts the tree on a canvas at its extent.
func (t PipeTree) Draw(c Canvas) {
	l := t.layout()
	drawKeys(c, l.keys, Point{})
	if len(l.rows) == 0 {
		say(c, Box{0, 0, l.size.Width, l.size.Height}, "No pipework on record")
		return
	}
	l.drawTree(c)
	c.Rect(Ink, Box{2, l.y(-1) - 6, 12, 12})
	c.Text(headingStyle, Point{20, l.y(-1) + textSize*0.35}, "Heat pump")
	if !l.narrow {
		l.drawHeader(c)
	}
	for i, r := range l.rows {
		l.drawLeg(c, i, r)
	}
	if l.left > 0 {
		c.Text(noteStyle, Point{l.x(0) + 6, l.y(len(l.rows)) + 4}, "and "+counted(l.left, "more leg"))
	}
}

// drawTree draws the lines from leg to leg, the index circuit on top.
func (l treeLayout) drawTree(c Canvas) {
	var index, others [][]Point
	for i, r := range l.rows {
		x := 8.0
		if r.parent >= 0 {
			x = l.x(l.rows[r.parent].depth)
		}
		line := []Point{{x, l.y(r.parent)}, {x, l.y(i)}, {l.x(r.depth), l.y(i)}}
		if r.parent >= 0 {
			line[0].Y += 6 // below the end of the leg above
		}
		if r.OnIndex {
			line[0].Y = l.y(r.parent)
			index = append(index, line)
		} else {
			others = append(others, line)
		}
	}
	c.Lines(Pen{Role: Axis, Width: 1.4}, others...)
	c.Lines(Pen{Role: Flow, Width: 4}, index...)
}

// Columns of the table, from its left edge: sizes begin, numbers end at their
// place; bars of the loss follow.
const (
	columnsWidth   = 340.0
	lengthColumn   = 150.0
	velocityColumn = 218.0
	lossColumn     = 282.0
	lossBar        = 50.0
	fastMark       = 12.0
)

func (l treeLayout) drawHeader(c Canvas) {
	style, y := noteStyle, l.top-4
	c.Text(style, Point{l.table, y}, "Size")
	style.Anchor = End
	c.Text(style, Point{l.table + lengthColumn, y}, "m")
	c.Text(style, Point{l.table + velocityColumn, y}, "m/s")
	c.Text(style, Point{l.table + lossColumn, y}, "Pa/m")
}

// drawLeg writes name and figures of a leg.
func (l treeLayout) drawLeg(c Canvas, row int, r branch) {
	style := labelStyle
	style.Bold = r.OnIndex
	x, y := l.x(r.depth)+6, l.y(row)
	baseline := y + textSize*0.35
	name := fitText(style, r.Name, l.table-x-8)
	c.Text(style, Point{x, baseline}, name)
	if name != r.Name {
		c.Hint(Box{x, y - legHeight/2, l.table - x, legHeight}, fitText(style, r.Name, 400))
	}
	if l.narrow {
		l.drawDetails(c, Point{x, baseline + 14}, r)
		return
	}
	c.Text(labelStyle, Point{l.table, baseline}, fitText(labelStyle, r.Size, lengthColumn-56))
	figure := labelStyle
	figure.Anchor = End
	c.Text(figure, Point{l.table + lengthColumn, baseline}, figureOf(r.LengthM, 1))
	c.Text(figure, Point{l.table + lossColumn, baseline}, figureOf(r.LossPaPerM, 0))
	figure.Bold = r.TooFast
	c.Text(figure, Point{l.table + velocityColumn, baseline}, figureOf(r.VelocityMS, 2))
	if r.TooFast {
		drawChevrons(c, Backup, Point{l.table + velocityColumn + 5 + fastMark/2, y})
	}
	if drawable(r.LossPaPerM) && r.LossPaPerM > 0 {
		c.Rect(Idle, Box{l.table + lossColumn + 7, y - 4, max(1, lossBar*r.LossPaPerM/l.most), 8})
	}
}

// drawDetails writes the figures of a leg in one line, for a phone.
func (l treeLayout) drawDetails(c Canvas, at Point, r branch) {
	if r.TooFast {
		drawChevrons(c, Backup, Point{at.X + fastMark/2, at.Y - 4})
		at.X += fastMark + 4
	}
	c.Text(noteStyle, at, fitText(noteStyle, r.figures(), l.size.Width-at.X-2))
}

// figures tells what is known of a leg.
func (l PipeLeg) figures() string {
	var said []string
	if l.TooFast {
		said = append(said, "too fast")
	}
	for _, f := range []struct {
		value  float64
		digits int
		unit   string
	}{{l.VelocityMS, 2, "m/s"}, {l.LossPaPerM, 0, "Pa/m"}, {l.LengthM, 1, "m"}} {
		if drawable(f.value) {
			said = append(said, number(f.value, f.digits)+nbsp+f.unit)
		}
	}
	if l.Size != "" {
		said = append(said, l.Size)
	}
	if len(said) == 0 {
		return "not known"
	}
	return strings.Join(said, ", ")
}

// figureOf writes a number of the table; a dash stands for what is not known.
func figureOf(v float64, digits int) string {
	if !drawable(v) {
		return "\u2013"
	}
	if math.Abs(v) >= 1000 {
		digits = 0
	}
	return number(v, digits)
}

// drawChevrons marks what is too fast.
func drawChevrons(c Canvas, role Role, at Point) {
	const w, h = 4.0, 4.5
	var lines [][]Point
	for _, x := range []float64{at.X - w - 0.5, at.X + 0.5} {
		lines = append(lines, []Point{{x, at.Y - h}, {x + w, at.Y}, {x, at.Y + h}})
	}
	c.Lines(Pen{Role: role, Width: 2}, lines...)
}

func (t PipeTree) describe() string {
	if len(t.Legs) == 0 {
		return "No pipework on record."
	}
	said := []string{counted(len(t.Legs), "leg")}
	var index []string
	for _, l := range t.Legs {
		if l.OnIndex {
			index = append(index, fitText(labelStyle, l.Name, 200))
		}
	}
	if len(index) > 0 {
		said = append(said, "index circuit: "+strings.Join(index[:min(len(index), 20)], ", "))
	}
	if t.IndexLossKPa != nil && drawable(*t.IndexLossKPa) {
		said = append(said, "it loses "+number(*t.IndexLossKPa, 1)+nbsp+"kPa")
	}
	fast := slices.DeleteFunc(slices.Clone(t.Legs), func(l PipeLeg) bool { return !l.TooFast })
	for _, l := range fast[:min(len(fast), 20)] {
		said = append(said, fitText(labelStyle, l.Name, 200)+": "+l.figures())
	}
	return sentences(said...)
}

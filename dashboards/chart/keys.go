package chart

import "slices"

// key is an entry of a legend: a sample and its name.
type key struct {
	name   string
	role   Role
	height float64 // share of the sample's
	look   look
	dash   Dash
	x      float64
}

// look is what the sample of a key is.
type look int

const (
	plain    look = iota
	striped       // struck out as doubtful
	hatched       // the ground of what is missing
	bare          // no sample: a remark
	spot          // a dot
	cross         // a doubtful point
	stroke        // a line, in its dash
	banded        // a line in its tinted band
	diamond       // a single figure
	narrow        // a thin bar
	whisker       // a mark with its interval
	thick         // an emphasised line
	chevrons      // too fast
)

const (
	keyHeight = 18.0
	keySample = 12.0
	keyGap    = 16.0
)

// sampleWidth is how wide the key's sample is.
func (k key) sampleWidth() float64 {
	switch k.look {
	case bare:
		return 0
	case stroke, banded, thick:
		return 2 * keySample
	}
	return keySample
}

// nameX is how far the name is from the key's left edge.
func (k key) nameX() float64 {
	if k.look == bare {
		return 0
	}
	return k.sampleWidth() + 5
}

func (k key) width() float64 { return k.nameX() + TextWidth(noteStyle, k.name) }

// wrapKeys puts keys on rows no wider than width.
func wrapKeys(keys []key, width float64) [][]key {
	var rows [][]key
	x := 0.0
	for _, k := range keys {
		k.name = fitText(noteStyle, k.name, width-k.nameX())
		if len(rows) == 0 || x+k.width() > width {
			rows = append(rows, nil)
			x = 0
		}
		k.x = x
		x += k.width() + keyGap
		rows[len(rows)-1] = append(rows[len(rows)-1], k)
	}
	return rows
}

// drawKeys draws rows of a legend from the top left corner.
func drawKeys(c Canvas, rows [][]key, at Point) {
	for i, row := range rows {
		baseline := at.Y + keyHeight*float64(i) + 12
		for _, k := range row {
			k.drawSample(c, Box{at.X + k.x, baseline - 9, keySample, 10})
			c.Text(noteStyle, Point{at.X + k.x + k.nameX(), baseline}, k.name)
		}
	}
}

// lackKeys are the entries for bars of what was measured in part or not at all.
func lackKeys[T any](of []T, doubtful, empty func(T) bool) []key {
	var keys []key
	if slices.ContainsFunc(of, doubtful) {
		keys = append(keys, key{name: "less than 90" + nbsp + "% measured", role: Heat, height: 1, look: striped})
	}
	if slices.ContainsFunc(of, empty) {
		keys = append(keys, key{name: "No data", look: hatched})
	}
	return keys
}

func (k key) drawSample(c Canvas, b Box) {
	b.W = k.sampleWidth()
	middle := Point{b.X + b.W/2, b.Y + b.H/2}
	switch k.look {
	case bare:
	case hatched:
		hatch(c, b)
	case spot:
		c.Dot(k.role, middle, 3)
	case cross:
		drawCrosses(c, k.role, []Point{middle})
	case banded, stroke:
		if k.look == banded {
			c.Area(k.role, corners(b))
		}
		c.Lines(Pen{Role: k.role, Width: 2, Dash: k.dash}, []Point{{b.X, middle.Y}, {b.Right(), middle.Y}})
	case thick:
		c.Lines(Pen{Role: k.role, Width: 4}, []Point{{b.X + 2, middle.Y}, {b.Right() - 2, middle.Y}})
	case chevrons:
		drawChevrons(c, k.role, middle)
	case diamond:
		drawDiamond(c, k.role, middle)
	case narrow:
		c.Rect(k.role, Box{middle.X - 1.5, b.Y, 3, b.H})
	case whisker:
		c.Lines(Pen{Role: k.role, Width: 1.6}, []Point{{b.X, middle.Y}, {b.Right(), middle.Y}}, []Point{{middle.X, b.Y}, {middle.X, b.Bottom()}})
	default:
		k.drawBlock(c, b)
	}
}

func (k key) drawBlock(c Canvas, b Box) {
	h := max(2, b.H*k.height)
	c.Rect(k.role, Box{b.X, b.Bottom() - h, b.W, h})
	if k.look == striped {
		drawStripes(c, b)
	}
}

// corners is the outline of a box.
func corners(b Box) []Point {
	return []Point{{b.X, b.Y}, {b.Right(), b.Y}, {b.Right(), b.Bottom()}, {b.X, b.Bottom()}}
}

// drawDiamond marks a single figure.
func drawDiamond(c Canvas, role Role, at Point) {
	const r = 5.0
	outline := []Point{{at.X, at.Y - r}, {at.X + r, at.Y}, {at.X, at.Y + r}, {at.X - r, at.Y}, {at.X, at.Y - r}}
	c.Lines(Pen{Role: Paper, Width: 5}, outline)
	c.Dot(Paper, at, r-1)
	c.Lines(Pen{Role: role, Width: 2}, outline)
}

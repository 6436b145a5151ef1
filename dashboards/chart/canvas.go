package chart

// Point is a place on the drawing.
type Point struct{ X, Y float64 }

// Box is an upright rectangle given by its top left corner.
type Box struct{ X, Y, W, H float64 }

// Right returns the x of the right edge.
func (b Box) Right() float64 { return b.X + b.W }

// Bottom returns the y of the lower edge.
func (b Box) Bottom() float64 { return b.Y + b.H }

// Size is the extent of a whole chart.
type Size struct{ Width, Height float64 }

// Dash is the pattern of a stroke.
type Dash int

// The patterns, told apart without colour.
const (
	Solid Dash = iota
	Dashed
	Dotted
	LongDash
)

// Lengths returns stroke and space lengths, nil for a solid stroke.
func (d Dash) Lengths() []float64 {
	switch d {
	case Dashed:
		return []float64{5, 3}
	case Dotted:
		return []float64{1.5, 2.5}
	case LongDash:
		return []float64{9, 3}
	}
	return nil
}

// Pen is how a line is stroked. Ends and corners are round.
type Pen struct {
	Role  Role
	Width float64
	Dash  Dash
}

// Anchor is which part of a text stands at its point.
type Anchor int

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// TextStyle is how a text is set in Liberation Sans or a face of its widths.
type TextStyle struct {
	Role   Role
	Size   float64
	Bold   bool
	Anchor Anchor
}

// AreaOpacity is how much of its colour an Area has.
const AreaOpacity = 0.14

// Canvas is what a chart is drawn on. Shapes given in one call have one look,
// so that a back end can write them as one path.
type Canvas interface {
	// Rect fills boxes.
	Rect(fill Role, boxes ...Box)
	// Area tints closed outlines with AreaOpacity of the role's colour, so
	// that what lies below still shows.
	Area(tint Role, outlines ...[]Point)
	// Lines strokes open lines; a line of one point is a round spot.
	Lines(pen Pen, lines ...[]Point)
	// Dot fills a circle.
	Dot(fill Role, at Point, radius float64)
	// Ring strokes a circle around the paper's colour.
	Ring(pen Pen, at Point, radius float64)
	// Text sets one line of text with its baseline at the point.
	Text(style TextStyle, at Point, s string)
	// Hint tells s to who points at the box. A back end on paper leaves it out.
	Hint(over Box, s string)
}

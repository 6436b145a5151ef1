package pdf

import (
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"coldweek/dashboards/chart"
)

// Drawing is what all charts are.
type Drawing interface {
	Draw(chart.Canvas)
	Extent() chart.Size
}

// Place is where on the page a chart goes: its top left corner and its width.
// A chart 700 wide has letters of 8.7 points on 180 mm, one of 380 letters of
// 7.6 points on 85 mm.
type Place struct{ LeftMM, TopMM, WidthMM float64 }

// Draw puts a chart on the current page and returns its height. Pens, colours,
// font and cursor of the document are afterwards as they were, but for a dash
// pattern, which becomes a solid line.
func Draw(doc *fpdf.Fpdf, d Drawing, at Place) (heightMM float64) {
	extent := d.Extent()
	scale := at.WidthMM / extent.Width
	restore := keep(doc)
	d.Draw(NewCanvas(doc, at.LeftMM, at.TopMM, scale))
	restore()
	return extent.Height * scale
}

// keep returns a function that restores what the canvas changes.
func keep(doc *fpdf.Fpdf) func() {
	x, y := doc.GetXY()
	family, style := doc.GetFontFamily(), doc.GetFontStyle()
	points, _ := doc.GetFontSize()
	width := doc.GetLineWidth()
	drawR, drawG, drawB := doc.GetDrawColor()
	fillR, fillG, fillB := doc.GetFillColor()
	textR, textG, textB := doc.GetTextColor()
	lineCap, lineJoin := doc.GetLineCapStyle(), doc.GetLineJoinStyle()
	return func() {
		doc.SetXY(x, y)
		if family != "" {
			doc.SetFont(family, style, points)
		}
		doc.SetLineWidth(width)
		doc.SetDrawColor(drawR, drawG, drawB)
		doc.SetFillColor(fillR, fillG, fillB)
		doc.SetTextColor(textR, textG, textB)
		doc.SetLineCapStyle(lineCap)
		doc.SetLineJoinStyle(lineJoin)
		doc.SetDashPattern(nil, 0)
	}
}

// canvas draws on the current page of a document.
type canvas struct {
	doc       *fpdf.Fpdf
	left, top float64
	scale     float64 // mm in a unit of the chart
}

// NewCanvas returns a canvas whose origin lies at a point of the document's
// current page. A unit of the chart is scale mm. The canvas moves the text
// cursor and leaves its last pen and font selected.
func NewCanvas(doc *fpdf.Fpdf, leftMM, topMM, scale float64) chart.Canvas {
	doc.SetLineCapStyle("round")
	doc.SetLineJoinStyle("round")
	return canvas{doc, leftMM, topMM, scale}
}

func (c canvas) x(x float64) float64 { return c.left + x*c.scale }
func (c canvas) y(y float64) float64 { return c.top + y*c.scale }

// RGB returns the role's colour on white paper.
func RGB(role chart.Role) (r, g, b int) {
	if role == chart.Paper {
		return 255, 255, 255
	}
	// Hex is "#rrggbb" for any role.
	_, _ = fmt.Sscanf(role.Hex(), "#%02x%02x%02x", &r, &g, &b)
	return r, g, b
}

func (c canvas) fill(role chart.Role) { c.doc.SetFillColor(RGB(role)) }

func (c canvas) stroke(pen chart.Pen) {
	c.doc.SetDrawColor(RGB(pen.Role))
	c.doc.SetLineWidth(pen.Width * c.scale)
	lengths := pen.Dash.Lengths()
	for i := range lengths {
		lengths[i] *= c.scale
	}
	c.doc.SetDashPattern(lengths, 0)
}

func (c canvas) path(points []chart.Point) {
	for i, p := range points {
		if i == 0 {
			c.doc.MoveTo(c.x(p.X), c.y(p.Y))
		} else {
			c.doc.LineTo(c.x(p.X), c.y(p.Y))
		}
	}
}

func (c canvas) Rect(fill chart.Role, boxes ...chart.Box) {
	c.fill(fill)
	for _, b := range boxes {
		c.doc.Rect(c.x(b.X), c.y(b.Y), b.W*c.scale, b.H*c.scale, "F")
	}
}

func (c canvas) Area(tint chart.Role, outlines ...[]chart.Point) {
	if len(outlines) == 0 {
		return
	}
	c.fill(tint)
	alpha, mode := c.doc.GetAlpha()
	c.doc.SetAlpha(chart.AreaOpacity, "Normal")
	for _, outline := range outlines {
		c.path(outline)
		c.doc.ClosePath()
	}
	c.doc.DrawPath("F")
	c.doc.SetAlpha(alpha, mode)
}

func (c canvas) Lines(pen chart.Pen, lines ...[]chart.Point) {
	if len(lines) == 0 {
		return
	}
	c.stroke(pen)
	for _, line := range lines {
		c.path(line)
		if len(line) == 1 {
			c.doc.LineTo(c.x(line[0].X), c.y(line[0].Y))
		}
	}
	c.doc.DrawPath("D")
}

func (c canvas) Dot(fill chart.Role, at chart.Point, radius float64) {
	c.fill(fill)
	c.doc.Circle(c.x(at.X), c.y(at.Y), radius*c.scale, "F")
}

func (c canvas) Ring(pen chart.Pen, at chart.Point, radius float64) {
	c.fill(chart.Paper)
	c.stroke(pen)
	c.doc.Circle(c.x(at.X), c.y(at.Y), radius*c.scale, "FD")
}

func (c canvas) Text(style chart.TextStyle, at chart.Point, s string) {
	weight := ""
	if style.Bold {
		weight = "B"
	}
	s = Printable(s)
	x := at.X - chart.TextWidth(style, s)*[...]float64{chart.Start: 0, chart.Middle: 0.5, chart.End: 1}[style.Anchor]
	c.doc.SetFont(Family, weight, style.Size*c.scale*c.doc.GetConversionRatio())
	c.doc.SetTextColor(RGB(style.Role))
	c.doc.Text(c.x(x), c.y(at.Y), s)
}

// Hint does nothing: nobody points at paper.
func (canvas) Hint(chart.Box, string) {}

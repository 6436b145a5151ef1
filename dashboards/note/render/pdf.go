package render

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"coldweek/dashboards/chart"
	"coldweek/dashboards/chart/pdf"
	"coldweek/dashboards/note"
	"coldweek/dashboards/note/words"
)

// The page, in mm and points.
const (
	marginMM  = 18.0
	widthMM   = 210 - 2*marginMM
	topMM     = 14.0
	bottomMM  = 281.0 // of text; the footer is below
	footerMM  = 286.0
	pointMM   = 25.4 / 72
	leading   = 1.34 // line height by letter height
	textPt    = 9.1
	smallPt   = 7.4
	headingPt = 11.0
)

// paint is a colour by its role, on white.
type paint struct {
	points float64
	bold   bool
	role   chart.Role
}

var (
	bodyPaint  = paint{textPt, false, chart.Ink}
	notePaint  = paint{smallPt + 0.4, false, chart.Muted}
	smallPaint = paint{smallPt, false, chart.Muted}
)

func (p paint) lineMM() float64 { return p.points * leading * pointMM }

// PDF is the note on pages of A4.
func PDF(d *note.Document) ([]byte, error) {
	year, month, day := d.Written.Date()
	doc := pdf.New(d.Title.String()+", "+d.House.String(), time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
	doc.SetLang(d.Language)
	doc.SetMargins(marginMM, topMM, marginMM)
	doc.SetAutoPageBreak(false, 0)
	s := &paper{doc: doc, note: d}
	s.page()
	s.head()
	s.tiles()
	for _, p := range d.Parts {
		s.part(p)
	}
	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return nil, fmt.Errorf("render note of %q as PDF: %w", d.Site, err)
	}
	return b.Bytes(), nil
}

// paper is the page that is written on, down to y.
type paper struct {
	doc  *fpdf.Fpdf
	note *note.Document
	y    float64
}

// page begins a page and writes its foot.
func (s *paper) page() {
	s.doc.AddPage()
	s.rule(footerMM-4, chart.Grid, 0.2)
	s.set(smallPaint)
	number := fmt.Sprint(s.doc.PageNo())
	s.doc.Text(marginMM, footerMM, s.fit(s.note.Footer.String(), widthMM-s.doc.GetStringWidth(number)-6))
	s.doc.Text(marginMM+widthMM-s.doc.GetStringWidth(number), footerMM, number)
	s.y = topMM
}

// need begins a new page where so much does not fit, unless it is at its top.
func (s *paper) need(heightMM float64) {
	if s.y+heightMM > bottomMM && s.y > topMM {
		s.page()
	}
}

func (s *paper) set(p paint) {
	style := ""
	if p.bold {
		style = "B"
	}
	s.doc.SetFont(pdf.Family, style, p.points)
	s.doc.SetTextColor(pdf.RGB(p.role))
}

func (s *paper) rule(y float64, role chart.Role, width float64) {
	s.doc.SetDrawColor(pdf.RGB(role))
	s.doc.SetLineWidth(width)
	s.doc.Line(marginMM, y, marginMM+widthMM, y)
}

// lines breaks a text at its spaces, and words that are too long anywhere. What
// belongs together by unbroken spaces stays so.
func (s *paper) lines(text string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(pdf.Printable(text), func(r rune) bool { return r == ' ' || r == '\n' }) {
		if longer := strings.TrimPrefix(line+" "+word, " "); line == "" || s.doc.GetStringWidth(longer) <= width {
			line = longer
		} else {
			lines, line = append(lines, line), word
		}
		for s.doc.GetStringWidth(line) > width {
			head, rest := s.cut(line, width)
			lines, line = append(lines, head), rest
		}
	}
	if line == "" {
		return lines
	}
	return append(lines, line)
}

// cut takes as many letters as fit, at least one.
func (s *paper) cut(line string, width float64) (head, rest string) {
	runes := []rune(line)
	n := 1
	for n < len(runes) && s.doc.GetStringWidth(string(runes[:n+1])) <= width {
		n++
	}
	return string(runes[:n]), string(runes[n:])
}

func (s *paper) fit(text string, width float64) string {
	lines := s.lines(text, width)
	if len(lines) > 1 {
		return s.lines(text, width-s.doc.GetStringWidth("…"))[0] + "…"
	}
	return strings.Join(lines, "")
}

// write sets a text from x on and moves down; it breaks pages between lines.
func (s *paper) write(text string, p paint, x, width float64) {
	s.set(p)
	for _, line := range s.lines(text, width) {
		s.need(p.lineMM())
		s.set(p) // a new page sets its foot
		s.doc.Text(x, s.y+p.points*pointMM, line)
		s.y += p.lineMM()
	}
}

// height is what write takes.
func (s *paper) height(text string, p paint, width float64) float64 {
	s.set(p)
	return float64(len(s.lines(text, width))) * p.lineMM()
}

// head is the top of the first page.
func (s *paper) head() {
	d := s.note
	s.write(d.House.String(), paint{9.5, false, chart.Muted}, marginMM, widthMM)
	s.y += 0.5
	s.write(d.Title.String(), paint{20, true, chart.Ink}, marginMM, widthMM)
	s.y += 0.5
	s.write(words.Join(" ", d.Under...).String(), paint{8.5, false, chart.Muted}, marginMM, widthMM)
	s.y += 3
	s.write(d.Lead.String(), paint{10.6, false, chart.Ink}, marginMM, widthMM)
	s.y += 3
}

// tiles are the main figures side by side.
func (s *paper) tiles() {
	tiles := s.note.Tiles
	if len(tiles) == 0 {
		return
	}
	value, label := paint{14, true, chart.Ink}, paint{7.6, false, chart.Muted}
	s.need(20)
	s.rule(s.y, chart.Ink, 0.5)
	top, lowest := s.y+2, s.y
	each := widthMM / float64(len(tiles))
	for i, t := range tiles {
		s.y = top
		x := marginMM + float64(i)*each
		s.write(t.Value.String(), value, x, each-3)
		s.write(t.Label.String(), label, x, each-3)
		if t.Under != nil {
			s.write(t.Under.String(), label, x, each-3)
		}
		lowest = max(lowest, s.y)
	}
	s.y = lowest + 1.5
	s.rule(s.y, chart.Grid, 0.2)
	s.y += 3.5
}

// part is a section: its heading stays with what follows, and what is framed
// stays together.
func (s *paper) part(p note.Part) {
	heading, text, inset := paint{headingPt, true, chart.Ink}, bodyPaint, 0.0
	switch p.Look {
	case note.Small:
		heading, text = paint{smallPt + 0.8, true, chart.Muted}, smallPaint
	case note.Framed:
		inset = 4
	}
	heightMM := s.height(p.Heading.String(), heading, widthMM-2*inset) + 0.6
	if p.Look == note.Framed {
		for _, b := range p.Blocks {
			heightMM += s.height(b.Text.String(), text, widthMM-2*inset) + 1.4
		}
		s.need(heightMM + 4)
		s.frame(heightMM + 2.6)
		s.y += 2
	} else {
		s.need(heightMM + s.first(p.Blocks, text))
	}
	s.write(p.Heading.String(), heading, marginMM+inset, widthMM-2*inset)
	s.y += 0.6
	for _, b := range p.Blocks {
		s.block(b, text, marginMM+inset, widthMM-2*inset)
	}
	s.y += 2.2
	if p.Look == note.Framed {
		s.y += 1.5
	}
}

func (s *paper) frame(heightMM float64) {
	s.doc.SetFillColor(246, 244, 239)
	s.doc.Rect(marginMM, s.y, widthMM, heightMM, "F")
	s.doc.SetFillColor(pdf.RGB(chart.Axis))
	s.doc.Rect(marginMM, s.y, 0.9, heightMM, "F")
}

// first is what the heading must keep with it: some lines, or a whole chart.
func (s *paper) first(blocks []note.Block, p paint) float64 {
	switch b := blocks[0]; {
	case b.Chart != nil:
		return s.chartMM(b.Chart)
	case b.Table != nil:
		return 3 * 5
	case b.Item != nil:
		return 3 * p.lineMM()
	default:
		return min(3*p.lineMM(), s.height(b.Text.String(), p, widthMM))
	}
}

func (s *paper) block(b note.Block, p paint, x, width float64) {
	switch {
	case b.Table != nil:
		s.table(b.Table)
	case b.Chart != nil:
		s.chart(b.Chart)
	case b.Item != nil:
		s.item(b.Item, p)
	default:
		s.write(b.Text.String(), p, x, width)
		s.y += 1.2
	}
}

// pictureSize makes letters of 8 points on the page's width.
var pictureSize = chart.Size{Width: 660, Height: 132}

func (s *paper) chartMM(c *note.Chart) float64 {
	return 5 + pictureSize.Height*widthMM/pictureSize.Width + s.height(c.Words.String(), notePaint, widthMM) + 2
}

func (s *paper) chart(c *note.Chart) {
	s.need(s.chartMM(c))
	s.y++
	s.write(c.Title.String(), paint{8.6, true, chart.Ink}, marginMM, widthMM)
	s.y++
	s.y += pdf.Draw(s.doc, c.Picture.Sized(pictureSize), pdf.Place{LeftMM: marginMM, TopMM: s.y, WidthMM: widthMM})
	s.write(c.Words.String(), notePaint, marginMM, widthMM)
	s.y++
}

func (s *paper) item(i *note.Item, p paint) {
	const inset = 4
	heightMM := p.lineMM()
	for _, l := range i.Lines {
		heightMM += s.height(l.String(), p, widthMM-inset)
	}
	s.need(heightMM + 2)
	bold := p
	bold.bold = true
	page, top := s.doc.PageNo(), s.y
	s.write(i.Title.String()+" ("+i.Period.String()+")", bold, marginMM+inset, widthMM-inset)
	for _, l := range i.Lines {
		s.write(l.String(), p, marginMM+inset, widthMM-inset)
	}
	if s.doc.PageNo() != page {
		top = topMM
	}
	s.doc.SetFillColor(pdf.RGB(itemRole(i)))
	s.doc.Rect(marginMM, top+0.6, 0.9, s.y-top-0.2, "F")
	s.y += 1.8
}

// table sets columns by their count: the first is words, the others figures.
func (s *paper) table(t *note.Table) {
	p := paint{8.6, false, chart.Ink}
	widths := make([]float64, len(t.Head))
	firstMM := 40.0
	if t.Words {
		firstMM = widthMM * 0.62
		p = smallPaint
	}
	for i := range widths {
		widths[i] = (widthMM - firstMM) / float64(len(widths)-1)
	}
	widths[0] = firstMM
	head := p
	head.role = chart.Muted
	s.row(t.Head, head, widths, t.Words)
	s.rule(s.y, chart.Axis, 0.25)
	for _, row := range t.Rows {
		s.row(row, p, widths, t.Words)
		s.rule(s.y, chart.Grid, 0.2)
	}
	s.y += 2
}

func (s *paper) row(cells []words.Text, p paint, widths []float64, left bool) {
	s.set(p)
	tall := 1
	for i, cell := range cells {
		tall = max(tall, len(s.lines(cell.String(), widths[i]-3)))
	}
	s.need(float64(tall)*p.lineMM() + 1.4)
	x, top := marginMM, s.y+0.7
	s.set(p)
	for i, cell := range cells {
		for k, line := range s.lines(cell.String(), widths[i]-3) {
			at := x
			if i > 0 && !left {
				at = x + widths[i] - s.doc.GetStringWidth(line)
			}
			s.doc.Text(at, top+float64(k)*p.lineMM()+p.points*pointMM, line)
		}
		x += widths[i]
	}
	s.y = top + float64(tall)*p.lineMM() + 0.7
}

package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// svg is the Canvas that writes SVG 1.1.
type svg struct{ out bytes.Buffer }

// caption is what a chart says to who cannot see it.
type caption struct{ id, title, description string }

// newSVG begins a picture. The attributes are further ones of the root, in
// pairs of name and value.
func newSVG(size Size, c caption, attributes ...string) *svg {
	s := &svg{}
	width, height := decimal(size.Width), decimal(size.Height)
	id := escape(strings.Join(strings.Fields(c.id), "-"))
	fmt.Fprintf(&s.out, `<svg xmlns="http://www.w3.org/2000/svg" class="cw-chart" width="%[1]s" height="%[2]s" viewBox="0 0 %[1]s %[2]s" role="img"`, width, height)
	fmt.Fprintf(&s.out, ` aria-labelledby="%[1]s-title %[1]s-desc" font-family="%[2]s" font-size="%[3]s"`, id, fontFamily, decimal(textSize))
	for i := 0; i+1 < len(attributes); i += 2 {
		fmt.Fprintf(&s.out, ` %s="%s"`, attributes[i], escape(attributes[i+1]))
	}
	fmt.Fprintf(&s.out, `><title id="%[1]s-title">%[2]s</title><desc id="%[1]s-desc">%[3]s</desc>`+"\n", id, escape(c.title), escape(c.description))
	s.Rect(Paper, Box{0, 0, size.Width, size.Height})
	return s
}

// bytes ends the picture.
func (s *svg) bytes() []byte {
	s.out.WriteString("</svg>\n")
	return s.out.Bytes()
}

// escape makes any string safe as text and as attribute. Runes that XML
// forbids become U+FFFD; marks that turn the direction of text would let a
// name rearrange its neighbours and are left out.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Bidi_Control, r) {
			return -1
		}
		return r
	}, s)
	var b bytes.Buffer
	// A bytes.Buffer returns no error.
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}

// decimal writes v to a tenth of a pixel.
func decimal(v float64) string {
	return strconv.FormatFloat(float64(tenths(v))/10, 'f', -1, 64)
}

func tenths(v float64) int { return int(math.Round(v * 10)) }

func (s *svg) Rect(fill Role, boxes ...Box) {
	if len(boxes) == 0 {
		return
	}
	fmt.Fprintf(&s.out, `<path class="cw-f-%s" fill="%s" d="`, fill.class(), fill.Hex())
	for _, b := range boxes {
		w := decimal(b.W)
		fmt.Fprintf(&s.out, "M%s %sh%sv%sh-%sz", decimal(b.X), decimal(b.Y), w, decimal(b.H), w)
	}
	s.out.WriteString("\"/>\n")
}

func (s *svg) Area(tint Role, outlines ...[]Point) {
	if len(outlines) == 0 {
		return
	}
	fmt.Fprintf(&s.out, `<path fill-opacity="%.2f" class="cw-f-%s" fill="%s" d="`, AreaOpacity, tint.class(), tint.Hex())
	for _, outline := range outlines {
		s.subpath(outline)
		s.out.WriteByte('z')
	}
	s.out.WriteString("\"/>\n")
}

func (s *svg) Lines(pen Pen, lines ...[]Point) {
	if len(lines) == 0 {
		return
	}
	s.out.WriteString(`<path fill="none"`)
	s.stroke(pen)
	s.out.WriteString(` stroke-linecap="round" stroke-linejoin="round" d="`)
	for _, line := range lines {
		s.subpath(line)
		if len(line) == 1 {
			s.out.WriteString("h0")
		}
	}
	s.out.WriteString("\"/>\n")
}

func (s *svg) stroke(pen Pen) {
	fmt.Fprintf(&s.out, ` class="cw-s-%s" stroke="%s" stroke-width="%s"`, pen.Role.class(), pen.Role.Hex(), decimal(pen.Width))
	if lengths := pen.Dash.Lengths(); lengths != nil {
		fmt.Fprintf(&s.out, ` stroke-dasharray="%s %s"`, decimal(lengths[0]), decimal(lengths[1]))
	}
}

// subpath writes a line in relative steps of tenths of a pixel, counted from
// rounded places so that rounding does not add up. It is most of a chart's
// bytes, hence the care for its length.
func (s *svg) subpath(line []Point) {
	x, y := 0, 0
	previous := step{}
	for i, p := range line {
		nextX, nextY := tenths(p.X), tenths(p.Y)
		dx, dy := nextX-x, nextY-y
		x, y = nextX, nextY
		switch {
		case i == 0:
			previous = s.command(previous, 'M', dx, dy)
		case dx == 0 && dy == 0:
		case dx == 0:
			previous = s.command(previous, 'v', dy)
		case dy == 0:
			previous = s.command(previous, 'h', dx)
		default:
			previous = s.command(previous, 'l', dx, dy)
		}
	}
}

// step is what the next command needs to know of the one before.
type step struct {
	letter   byte
	fraction bool // its last number has a point
}

// command writes a path command. By the SVG path grammar a letter may be left
// out if it is the one before, and a space if the number cannot be read as the
// end of the one before.
func (s *svg) command(previous step, letter byte, inTenths ...int) step {
	b := s.out.AvailableBuffer()
	repeats := letter == previous.letter
	if !repeats {
		b = append(b, letter)
	}
	fraction := previous.fraction
	for i, v := range inTenths {
		leadsWithPoint := v > 0 && v < 10
		if (i > 0 || repeats) && v >= 0 && !(leadsWithPoint && fraction) {
			b = append(b, ' ')
		}
		if v < 0 {
			b, v = append(b, '-'), -v
		}
		if v >= 10 || v == 0 {
			b = strconv.AppendInt(b, int64(v/10), 10)
		}
		fraction = v%10 != 0
		if fraction {
			b = append(b, '.', byte('0'+v%10))
		}
	}
	s.out.Write(b)
	return step{letter, fraction}
}

func (s *svg) Dot(fill Role, at Point, radius float64) {
	fmt.Fprintf(&s.out, `<circle class="cw-f-%s" fill="%s" cx="%s" cy="%s" r="%s"/>`+"\n",
		fill.class(), fill.Hex(), decimal(at.X), decimal(at.Y), decimal(radius))
}

func (s *svg) Ring(pen Pen, at Point, radius float64) {
	s.Dot(Paper, at, radius)
	s.out.WriteString(`<circle fill="none"`)
	s.stroke(pen)
	fmt.Fprintf(&s.out, ` cx="%s" cy="%s" r="%s"/>`+"\n", decimal(at.X), decimal(at.Y), decimal(radius))
}

func (s *svg) Text(style TextStyle, at Point, text string) {
	fmt.Fprintf(&s.out, `<text class="cw-f-%s" fill="%s" x="%s" y="%s"`, style.Role.class(), style.Role.Hex(), decimal(at.X), decimal(at.Y))
	if style.Size != textSize {
		fmt.Fprintf(&s.out, ` font-size="%s"`, decimal(style.Size))
	}
	if style.Bold {
		s.out.WriteString(` font-weight="700"`)
	}
	if style.Anchor != Start {
		fmt.Fprintf(&s.out, ` text-anchor="%s"`, [...]string{Middle: "middle", End: "end"}[style.Anchor])
	}
	fmt.Fprintf(&s.out, ">%s</text>\n", escape(text))
}

func (s *svg) Hint(over Box, text string) {
	fmt.Fprintf(&s.out, `<rect fill-opacity="0" x="%s" y="%s" width="%s" height="%s"><title>%s</title></rect>`+"\n",
		decimal(over.X), decimal(over.Y), decimal(over.W), decimal(over.H), escape(text))
}

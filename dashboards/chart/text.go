package chart

import (
	"fmt"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// fontFamily names faces of the widths that are measured here: Liberation
// Sans was drawn to the widths of Arial, and Arial to those of Helvetica.
const fontFamily = "Liberation Sans, Arial, Helvetica, sans-serif"

// A page has two sizes of letters: what is read, and what is glanced at.
const (
	textSize  = 12.0
	smallSize = 11.0
)

var (
	regularFace = sync.OnceValue(func() *sfnt.Font { return parseFont(liberationsansregular.TTF) })
	boldFace    = sync.OnceValue(func() *sfnt.Font { return parseFont(liberationsansbold.TTF) })
)

// parseFont panics because the font is part of the program.
func parseFont(ttf []byte) *sfnt.Font {
	face, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("BUG: parse Liberation Sans: %v", err))
	}
	return face
}

// TextWidth returns the width of s in the style's size and weight, without
// kerning, which would only narrow it. A rune the face lacks counts as wide as
// its size, as a substitute from another face may be.
func TextWidth(style TextStyle, s string) float64 {
	width := 0.0
	advance := style.advance()
	for _, r := range s {
		width += advance(r)
	}
	return width
}

// advance returns the function that measures a rune of the style.
func (t TextStyle) advance() func(rune) float64 {
	face := regularFace()
	if t.Bold {
		face = boldFace()
	}
	perEm := fixed.Int26_6(face.UnitsPerEm())
	var buffer sfnt.Buffer
	return func(r rune) float64 {
		glyph, err := face.GlyphIndex(&buffer, r)
		if err != nil || glyph == 0 {
			return t.Size
		}
		units, err := face.GlyphAdvance(&buffer, glyph, perEm, font.HintingNone)
		if err != nil {
			return t.Size
		}
		return float64(units) / float64(perEm) * t.Size
	}
}

// words splits s where a line may break; a number stays with its unit.
func words(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) && r != '\u00a0' })
}

// fitText shortens s with an ellipsis until it is no wider than width.
func fitText(style TextStyle, s string, width float64) string {
	s = strings.Join(words(s), " ")
	advance := style.advance()
	const ellipsis = '…'
	used, cut := 0.0, -1 // cut is where an ellipsis would still fit
	for i, r := range s {
		if used+advance(ellipsis) <= width {
			cut = i
		}
		if used += advance(r); used > width {
			if cut < 0 {
				return ""
			}
			return strings.TrimRight(s[:cut], " ") + string(ellipsis)
		}
	}
	return s
}

// wrapText breaks s between words into lines no wider than width; a longer
// word is shortened.
func wrapText(style TextStyle, s string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range words(s) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && TextWidth(style, longer) > width {
			lines = append(lines, line)
			longer = word
		}
		line = fitText(style, longer, width)
	}
	return append(lines, line)
}

package pdf

import (
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/text/unicode/norm"
)

// Family is the name under which the document knows Liberation Sans, upright
// ("") and bold ("B").
const Family = "LiberationSans"

// New returns an A4 document in mm whose bytes depend on nothing but what is
// drawn, the title and the time at which it was made.
func New(title string, made time.Time) *fpdf.Fpdf {
	doc := fpdf.New("P", "mm", "A4", "")
	doc.SetCatalogSort(true)
	doc.SetCreationDate(made)
	doc.SetModificationDate(made)
	doc.SetProducer("coldweek", true)
	doc.SetTitle(Printable(title), true)
	AddFonts(doc)
	return doc
}

// AddFonts makes Family known to a document. Of the fonts only the letters in
// use are embedded.
func AddFonts(doc *fpdf.Fpdf) {
	doc.AddUTF8FontFromBytes(Family, "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes(Family, "B", liberationsansbold.TTF)
}

// Printable makes any string one that fpdf can print: composed, since it would
// set accents beside their letters; of characters up to U+FFFF, since one
// above would lose the whole document; without marks that print nothing or
// turn the direction of text.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) && r != '\u00a0' && r != '\n':
			return ' '
		case unicode.In(r, unicode.Cf, unicode.Variation_Selector):
			return -1
		case r > 0xffff || r != '\n' && unicode.IsControl(r):
			return unicode.ReplacementChar
		}
		return r
	}, norm.NFC.String(s))
}

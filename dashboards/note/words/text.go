package words

import "strings"

// Kind is what a piece of text is.
type Kind string

// The kinds.
const (
	Words  Kind = "words"  // of the language
	Name   Kind = "name"   // of the site record, as it stands there
	Date   Kind = "date"   // or a part of one
	Number Kind = "number" // a figure
)

// Piece is a part of a text.
type Piece struct {
	Kind   Kind    `json:"kind"`
	Text   string  `json:"text"`
	Figure *Figure `json:"figure,omitempty"` // of a Number
}

// Figure is a number and what it was taken from.
type Figure struct {
	Value    float64 `json:"value"` // in the unit that is printed
	Decimals int     `json:"decimals"`
	Source   Source  `json:"source"`
}

// Op is how a figure is made of what stands at its paths.
type Op string

// The operations.
const (
	Value Op = "value" // of one path
	Less  Op = "less"  // the first less the second
)

// Source is where a figure came from: Factor times what Op makes of its paths,
// without its sign if it is a Magnitude.
type Source struct {
	Op        Op       `json:"op"`
	Paths     []string `json:"paths"`
	Factor    float64  `json:"factor"`
	Magnitude bool     `json:"magnitude,omitempty"`
}

// Text is what is said, in pieces.
type Text []Piece

// Plain is text of words alone.
func Plain(s string) Text { return Text{{Kind: Words, Text: s}} }

// Called is a name out of a record.
func Called(s string) Text { return Text{{Kind: Name, Text: s}} }

func (t Text) String() string {
	var b strings.Builder
	for _, p := range t {
		b.WriteString(p.Text)
	}
	return b.String()
}

// Join puts texts together with words between them.
func Join(between string, texts ...Text) Text {
	var all Text
	for _, t := range texts {
		if len(t) == 0 {
			continue
		}
		if len(all) > 0 {
			all = append(all, Piece{Kind: Words, Text: between})
		}
		all = append(all, t...)
	}
	return all
}

package note

import (
	"time"

	"coldweek/dashboards/note/picture"
	"coldweek/dashboards/note/words"
)

// Document is a composed note.
type Document struct {
	Site     string    `json:"site"`
	Month    string    `json:"month"`
	Language string    `json:"language"` // tag for HTML and PDF
	Issue    int       `json:"issue"`
	Written  time.Time `json:"written"`
	Engineer bool      `json:"engineer"`

	Title   words.Text   `json:"title"`
	House   words.Text   `json:"house"`
	Under   []words.Text `json:"under"` // whom for, when, which issue
	Lead    words.Text   `json:"lead"`
	Tiles   []Tile       `json:"tiles"`
	Parts   []Part       `json:"parts"`
	Footer  words.Text   `json:"footer"`
	Subject words.Text   `json:"subject"` // of the e-mail
	// Attached and InPDF are said in the e-mail, which has no charts.
	Attached words.Text `json:"attached"`
	InPDF    words.Text `json:"in_pdf"`

	// Main are the main figures by name.
	Main map[string]Main `json:"main"`
	// ForEngineer says what the record lacks for the note.
	ForEngineer []words.Text `json:"for_engineer"`
}

// Tile is a main figure.
type Tile struct {
	Label words.Text `json:"label"`
	Value words.Text `json:"value"`
	Under words.Text `json:"under,omitempty"`
}

// Look is how a part stands out.
type Look string

// The looks.
const (
	Usual  Look = ""
	Small  Look = "small"  // footnotes and the engineer's tables
	Framed Look = "framed" // care, and what the homeowner can do
)

// Part is a section.
type Part struct {
	ID      string     `json:"id"`
	Look    Look       `json:"look,omitempty"`
	Heading words.Text `json:"heading"`
	Blocks  []Block    `json:"blocks"`
}

// Block is one of a paragraph, a table, a chart and an item.
type Block struct {
	Text  words.Text `json:"text,omitempty"`
	Table *Table     `json:"table,omitempty"`
	Chart *Chart     `json:"chart,omitempty"`
	Item  *Item      `json:"item,omitempty"`
}

// Table has a heading for each column; the first column is words, the others are
// figures unless Words is set.
type Table struct {
	Head  []words.Text   `json:"head"`
	Rows  [][]words.Text `json:"rows"`
	Words bool           `json:"words,omitempty"`
}

// Chart is a drawing and what it says in words.
type Chart struct {
	ID      string          `json:"id"`
	Title   words.Text      `json:"title"`
	Words   words.Text      `json:"words"`
	Picture picture.Picture `json:"-"`
}

// Item is something noticed.
type Item struct {
	Urgent bool         `json:"urgent,omitempty"`
	Title  words.Text   `json:"title"`
	Period words.Text   `json:"period"`
	Lines  []words.Text `json:"lines"`
}

// Texts calls visit with every text of the document.
func (d *Document) Texts(visit func(words.Text)) {
	each := func(texts ...words.Text) {
		for _, t := range texts {
			visit(t)
		}
	}
	each(d.Title, d.House, d.Lead, d.Footer, d.Subject, d.Attached, d.InPDF)
	each(d.Under...)
	each(d.ForEngineer...)
	for _, t := range d.Tiles {
		each(t.Label, t.Value, t.Under)
	}
	for _, p := range d.Parts {
		each(p.Heading)
		for _, b := range p.Blocks {
			b.texts(each)
		}
	}
}

func (b *Block) texts(each func(...words.Text)) {
	each(b.Text)
	if b.Table != nil {
		each(b.Table.Head...)
		for _, row := range b.Table.Rows {
			each(row...)
		}
	}
	if b.Chart != nil {
		each(b.Chart.Title, b.Chart.Words)
	}
	if b.Item != nil {
		each(b.Item.Title, b.Item.Period)
		each(b.Item.Lines...)
	}
}

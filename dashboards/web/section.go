package web

import (
	"html/template"
	"net/http"
	"time"

	"coldweek/analysis/job"
	"coldweek/ingest/site"
)

// sectionBody is a page of a plant over some whole days: parts of figures, words,
// drawings and tables.
type sectionBody struct {
	Head     plantHead
	Window   *windowNav // nil: the page is of now
	Parts    []part
	Warnings []string
	NoData   bool
}

// part is a part of a page, with what it has of these.
type part struct {
	ID, Name string
	Lead     string // the verdict, in a sentence
	Figures  []figure
	Words    []string // one line each
	Steps    []string // to be done in this order
	Drawings []drawing
	Tables   []table
	Notes    []string // small print: what it stands on
	Caution  string
	Link     *link
}

// link leads on.
type link struct{ Address, Name string }

// drawing is a picture in a size for a screen and one for a phone.
type drawing struct {
	Name         string
	Wide, Narrow template.HTML
}

// table is a table with its heads.
type table struct {
	Caption string
	Heads   []tableHead
	Rows    []tableRow
	Sparks  string // head of the rows' small drawings; none when empty
	More    string // what was left out
	Open    bool   // shown at once however long it is
}

// unfolded rows of a table are shown at once; more are a click away.
const unfolded = 12

// Folded says whether the table is long.
func (t table) Folded() bool { return len(t.Rows) > unfolded && !t.Open }

// tableHead is the head of a column; figures stand to the right.
type tableHead struct {
	Name, Unit string
	Figures    bool
}

// tableRow is a row; its first cell is its head, and may lead somewhere.
type tableRow struct {
	Address string
	Cells   []string
	Spark   template.HTML
}

// heads makes the heads of a table: its first column's, and those of figures.
func heads(first string, figures ...tableHead) []tableHead {
	return append([]tableHead{{Name: first}}, figures...)
}

func col(name, unit string) tableHead { return tableHead{name, unit, true} }

// over is what a page of some days is made from.
type over struct {
	record *site.Record
	window window
	answer *answer
}

// sectionPx is the width of a drawing beside the name of its part.
const sectionPx = 1040

// inline is a drawing in a page: the drawing escapes every name in it.
func inline(svg []byte) template.HTML { return template.HTML(svg) }

// section serves a page of a plant over some whole days, made of an answer of some
// depth.
func (s *server) section(step string, d depth, fill func(*sectionBody, over)) http.Handler {
	return s.page(func(r *http.Request) (*page, error) {
		record, err := s.record(r.PathValue("id"))
		if err != nil {
			return nil, err
		}
		now := s.Now().In(record.Zone())
		today := dayOf(now)
		w, err := parseWindow(r.URL.Query(), today)
		if err != nil {
			return nil, backTo(err, record)
		}
		body := &sectionBody{}
		if body.Head, err = s.plantHead(r, record, step); err != nil {
			return nil, err
		}
		first, last, err := extent(r.Context(), s.Store, record)
		if err != nil {
			return nil, err
		}
		body.NoData = last.IsZero()
		if !body.NoData {
			if w.last > 0 && !last.After(w.From) {
				w.endWith(last)
			}
			w.begin(first)
			nav := w.nav(first, today)
			body.Window = &nav
			found, err := s.answers.of(r.Context(), record, w.Window, d)
			if err != nil {
				return nil, err
			}
			fill(body, over{record, w, found})
			body.Warnings = sentences(found.Warnings)
			s.prepareYear(record, w, first)
		}
		return &page{Template: "section", Title: sectionName(step) + ", " + body.Head.Name, Body: body}, nil
	})
}

// prepareYear makes the answer for a year when somebody begins to look at a plant
// that has been watched for some time: it is one click away.
func (s *server) prepareYear(record *site.Record, w window, first time.Time) {
	today := dayOf(s.Now().In(record.Zone()))
	year := job.Window{From: daysOn(today, -365), To: today}
	if w.last == usualWindow && first.Before(daysOn(today, -longAnswer)) {
		s.answers.prepare(record, year)
	}
}

func sectionName(step string) string {
	for _, sec := range sections {
		if sec.step == step {
			return sec.name
		}
	}
	return ""
}

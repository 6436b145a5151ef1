package dispatch

import (
	"bytes"
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strings"
	text "text/template"
	"time"

	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/notify"
)

//go:embed templates/drafts.html templates/drafts.txt
var templates embed.FS

// The two forms of a letter say the same.
var (
	draftsHTML = template.Must(template.ParseFS(templates, "templates/drafts.html"))
	draftsText = text.Must(text.New("drafts.txt").Funcs(text.FuncMap{"line": oneLine}).ParseFS(templates, "templates/drafts.txt"))
)

// oneLine keeps a text from making lines of its own.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// lettering is what a letter of drafts says.
type lettering struct {
	Subject, Month string
	Groups         []lettered
	Late           []string
	Page           string // of the month's notes; "" without pages
}

// lettered are drafts under a heading.
type lettered struct {
	Heading string
	Sites   []siteLine
}

// siteLine is a draft in the letter.
type siteLine struct {
	Name, Command, Page string
	Points              []string // what stands out
}

// written is the letter to an engineer.
func (p *Poster) written(d *drafts, g *notify.Engineer) (archive.Letter, error) {
	l := archive.Letter{Engineer: g.Name, Month: d.month.String(), Written: p.writer.Now().UTC()}
	first := time.Date(d.month.Year, d.month.Month, 1, 0, 0, 0, 0, time.UTC)
	words := lettering{Month: first.Format("January 2006"), Page: p.page("notes") + "?month=" + l.Month}
	if p.pagesURL == "" {
		words.Page = ""
	}
	l.Subject = fmt.Sprintf("%d notes for %s wait for your release", len(d.made), words.Month)
	if len(d.made) == 1 {
		l.Subject = fmt.Sprintf("The note for %s of %s waits for your release", words.Month, oneLine(calledSite(d.made[0])))
	}
	words.Subject = l.Subject
	words.Groups = p.grouped(d)
	for _, late := range d.late {
		words.Late = append(words.Late, fmt.Sprintf("%s: by %s", cmp.Or(oneLine(late.record.Name), late.record.ID), late.by.In(g.Zone).Format("Mon 2 Jan, 15:04")))
	}
	var page, plain bytes.Buffer
	if err := draftsHTML.Execute(&page, words); err != nil {
		return l, fmt.Errorf("write letter of drafts: %w", err)
	}
	if err := draftsText.Execute(&plain, words); err != nil {
		return l, fmt.Errorf("write letter of drafts: %w", err)
	}
	l.HTML, l.Text = page.String(), plain.String()
	return l, nil
}

// grouped puts what has something to look at first.
func (p *Poster) grouped(d *drafts) []lettered {
	look, calm := lettered{Heading: "With something to look at"}, lettered{Heading: "Nothing stands out"}
	for _, draft := range d.made {
		line := siteLine{
			Name: calledSite(draft), Points: points(&draft.entry), Page: p.page("plants", draft.entry.Site, "drafts", draft.entry.Month),
			Command: strings.Join([]string{"coldweek note release", draft.entry.Site, "--month", draft.entry.Month, "--home", p.home}, " "),
		}
		if len(line.Points) > 0 {
			look.Sites = append(look.Sites, line)
		} else {
			calm.Sites = append(calm.Sites, line)
		}
	}
	return slices.DeleteFunc([]lettered{look, calm}, func(g lettered) bool { return len(g.Sites) == 0 })
}

func calledSite(d draftOf) string { return cmp.Or(d.record.Name, d.record.ID) }

// points are what stands out in a draft.
func points(e *archive.Entry) []string {
	var all []string
	if e.Coverage < CompleteCoverage {
		all = append(all, fmt.Sprintf("%.0f %% of the month was measured", 100*e.Coverage))
	}
	for _, title := range e.Told {
		all = append(all, "It tells of: "+title)
	}
	if len(e.Missing) > 0 {
		all = append(all, "Not known: "+strings.Join(e.Missing, ", "))
	}
	return all
}

// page is an address of the pages, "" where it is not known.
func (p *Poster) page(steps ...string) string {
	if p.pagesURL == "" {
		return ""
	}
	address, err := url.JoinPath(p.pagesURL, steps...)
	if err != nil {
		return "" // told of where notify is read
	}
	return address
}

package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"coldweek/ingest/site"
)

// Drafts are the notes that wait for an engineer to release them.
type Drafts interface {
	// Drafts returns those of a site, or of all for "".
	Drafts(ctx context.Context, site string) ([]Draft, error)
	// DraftFile returns a file of a draft; ok is false when there is none.
	DraftFile(ctx context.Context, site, month, name string) (body []byte, ok bool, err error)
	// Release issues a draft, or returns ErrDraftGone where it is no longer the one
	// with the seal.
	Release(ctx context.Context, site, month, seal, by string) error
	// Mails says whether e-mail is set up.
	Mails() bool
}

// ErrDraftGone says that a draft was released already, or made anew.
var ErrDraftGone = errors.New("the draft is gone")

// Draft is a note that waits.
type Draft struct {
	Site, Month   string // the month as 2026-01
	Issue         int    // that it will be
	Made          time.Time
	Coverage      float64  // share of the month that was measured
	Told, Missing []string // findings that it tells of; figures that are not known
	To, Language  string   // address, "" without; a tag such as de
	Seal          string   // of its content
	Files         []string // such as note.html
}

// thinCoverage of a month is something to look at.
const thinCoverage = 0.9

const (
	monthInAddress = "2006-01"
	monthInWords   = "January 2006"
)

func monthIn(text string) (time.Time, bool) {
	at, err := time.Parse(monthInAddress, text)
	return at, err == nil && sensible(at)
}

// draftLine is a draft in a list.
type draftLine struct {
	Plant, PlantAt        string
	Month, Address, Again string
	Made                  string
	Points                []string // what stands out
}

func draftAddress(id, month string) string {
	return plantAddress(id) + "/drafts/" + escapePath(month)
}

func draftLineOf(d *Draft, record *site.Record) draftLine {
	l := draftLine{
		Plant: nameOf(record), PlantAt: plantAddress(record.ID) + "/notes", Month: d.Month,
		Address: draftAddress(record.ID, d.Month), Made: d.Made.In(record.Zone()).Format("2 Jan 2006"), Again: issueInWords(d.Issue),
	}
	if month, ok := monthIn(d.Month); ok {
		l.Month = month.Format(monthInWords)
	}
	if d.Coverage < thinCoverage {
		l.Points = append(l.Points, fmt.Sprintf("%.0f\u00a0%% of the month was measured", 100*d.Coverage))
	}
	for _, title := range d.Told {
		l.Points = append(l.Points, "It tells of: "+title)
	}
	if len(d.Missing) > 0 {
		l.Points = append(l.Points, "Not known: "+strings.Join(d.Missing, ", "))
	}
	return l
}

// draftBody is a draft to be looked at and released.
type draftBody struct {
	Head               plantHead
	Line               draftLine
	Files              []noteFile
	Shown              string // address of what stands in the page
	Seal, To, Language string
	Form               form
	Mistake            string
	NoMail             bool
	Release            string // the command
}

// draftNames say what the files of a draft are.
var draftNames = map[string]string{"note.html": "As a page", "note.pdf": "As PDF", "engineer.html": "With the numbers behind it, for you alone"}

// languageNames are those of the tags that notes are written in.
var languageNames = map[string]string{"en": "English", "de": "German"}

// draftsOf returns a plant's drafts, none where notes wait for nobody.
func (s *server) draftsOf(ctx context.Context, record *site.Record) ([]Draft, error) {
	if s.Drafts == nil {
		return nil, nil
	}
	drafts, err := s.Drafts.Drafts(ctx, record.ID)
	if err != nil {
		return nil, fmt.Errorf("list drafts of site %q: %w", record.ID, err)
	}
	return drafts, nil
}

// pickDraft finds the draft of an address. Who sees only notes finds none.
func (s *server) pickDraft(r *http.Request) (*site.Record, *Draft, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, nil, err
	}
	gone := &refusal{
		Status: http.StatusNotFound, Title: "No draft waits for this month",
		Detail: "It was released, or not made yet. The list of notes shows which.", Back: plantAddress(record.ID) + "/notes", BackName: "Notes of " + nameOf(record),
	}
	if s.notesOnly(r) {
		return nil, nil, gone
	}
	drafts, err := s.draftsOf(r.Context(), record)
	if err != nil {
		return nil, nil, err
	}
	k := slices.IndexFunc(drafts, func(d Draft) bool { return d.Month == r.PathValue("month") })
	if k < 0 {
		return nil, nil, gone
	}
	return record, &drafts[k], nil
}

func (s *server) draft(r *http.Request) (*page, error) {
	record, d, err := s.pickDraft(r)
	if err != nil {
		return nil, err
	}
	return s.draftPage(r, record, d, "")
}

func (s *server) draftPage(r *http.Request, record *site.Record, d *Draft, mistake string) (*page, error) {
	body := &draftBody{
		Line: draftLineOf(d, record), Seal: d.Seal, To: d.To, Language: languageNames[d.Language], Form: s.formFor(r), Mistake: mistake,
		NoMail: !s.Drafts.Mails(), Release: "coldweek note release " + record.ID + " --month " + d.Month,
	}
	if body.Language == "" {
		body.Language = d.Language
	}
	var err error
	if body.Head, err = s.plantHead(r, record, "notes"); err != nil {
		return nil, err
	}
	for _, name := range d.Files {
		address := draftAddress(record.ID, d.Month) + "/" + escapePath(name)
		if name == "note.html" {
			body.Shown = address
		}
		if words, known := draftNames[name]; known {
			body.Files = append(body.Files, noteFile{words, address})
		}
	}
	p := &page{Template: "draft", Title: "Draft of " + body.Line.Month + ", " + body.Head.Name, Body: body}
	if mistake != "" {
		p.Status = http.StatusUnprocessableEntity
	}
	return p, nil
}

// releaseDraft issues a draft that somebody has looked at.
func (s *server) releaseDraft(r *http.Request) (*page, error) {
	record, d, err := s.pickDraft(r)
	if err != nil {
		return nil, err
	}
	back := plantAddress(record.ID) + "/notes"
	by, err := s.readForm(r, draftAddress(record.ID, d.Month), "The draft")
	if err != nil {
		return nil, err
	}
	switch {
	case r.PostForm.Get("sure") != "yes":
		return s.draftPage(r, record, d, "Tick that it may go out; what is issued cannot be taken back.")
	case by == "":
		return s.draftPage(r, record, d, "Write your name: it is kept with the note.")
	}
	err = s.Drafts.Release(r.Context(), record.ID, d.Month, r.PostForm.Get("seal"), by)
	if errors.Is(err, ErrDraftGone) {
		return nil, &refusal{
			Status: http.StatusConflict, Title: "This draft has changed",
			Detail: "It was made anew or released while you looked at it. Nothing was issued now. Look at it once more.", Back: back, BackName: "Notes of " + nameOf(record),
		}
	}
	if err != nil {
		return nil, fmt.Errorf("release note of site %q: %w", record.ID, err)
	}
	return &page{Onward: back + "?released=" + d.Month}, nil
}

// draftFile serves a file of a draft.
func (s *server) draftFile(w http.ResponseWriter, r *http.Request) {
	record, d, err := s.pickDraft(r)
	name := r.PathValue("file")
	kind, known := noteTypes[path.Ext(name)]
	var body []byte
	ok := false
	if err == nil && known {
		body, ok, err = s.Drafts.DraftFile(r.Context(), record.ID, d.Month, name)
	}
	if err == nil && !ok {
		err = notFound("There is no such draft")
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	writeNote(w, kind, body)
}

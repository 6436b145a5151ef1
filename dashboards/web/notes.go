package web

import (
	"context"
	"fmt"
	"net/http"
	"path"
	"time"

	"coldweek/ingest/site"
)

// Archive holds the performance notes that were made for plants.
type Archive interface {
	// Notes returns a plant's notes, the newest first.
	Notes(ctx context.Context, site string) ([]Note, error)
	// NoteFile returns a file of a note as it was sent; ok is false when there is
	// no such file.
	NoteFile(ctx context.Context, site, name string) (body []byte, ok bool, err error)
}

// Note is a performance note.
type Note struct {
	Issue    int       // 1 for the first of its period; a later one replaces it
	From, To time.Time // the period; to is exclusive
	Made     time.Time
	Sent     []Sending
	Files    []string // names such as 2026-01.pdf, unique to the plant
}

// Sending is how a note went to somebody; Failed says why it did not.
type Sending struct {
	At     time.Time
	To     string
	Failed string
}

// notesBody lists a plant's notes.
type notesBody struct {
	Head   plantHead
	Said   string // of what was just done
	Drafts []draftLine
	Notes  []noteLine
	Alone  bool // for who sees nothing else
	NoMail bool
}

// noteLine is a note in the list.
type noteLine struct {
	Plant, PlantAt string // in the list over all plants
	Period, Made   string
	Again          string // which issue it is, where it is not the first
	Sent           []string
	Files          []noteFile
}

// noteFile leads to a file of a note.
type noteFile struct{ Name, Address string }

func (s *server) notes(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	body := &notesBody{Alone: s.notesOnly(r)}
	if body.Head, err = s.plantHead(r, record, "notes"); err != nil {
		return nil, err
	}
	kept, err := s.notesOf(r.Context(), record)
	if err != nil {
		return nil, err
	}
	for i := range kept {
		body.Notes = append(body.Notes, noteLineOf(&kept[i], record, body.Alone))
	}
	if s.Drafts != nil && !body.Alone {
		if err := s.waitingAt(r, record, body); err != nil {
			return nil, err
		}
	}
	return &page{Template: "notes", Title: "Notes, " + body.Head.Name, Body: body}, nil
}

// notesOf returns a plant's notes, none where no archive is kept.
func (s *server) notesOf(ctx context.Context, record *site.Record) ([]Note, error) {
	if s.Notes == nil {
		return nil, nil
	}
	kept, err := s.Notes.Notes(ctx, record.ID)
	if err != nil {
		return nil, fmt.Errorf("list notes of site %q: %w", record.ID, err)
	}
	return kept, nil
}

// waitingAt adds what is the engineer's alone.
func (s *server) waitingAt(r *http.Request, record *site.Record, body *notesBody) error {
	drafts, err := s.draftsOf(r.Context(), record)
	if err != nil {
		return err
	}
	for i := range drafts {
		body.Drafts = append(body.Drafts, draftLineOf(&drafts[i], record))
	}
	body.NoMail = !s.Drafts.Mails()
	if month, ok := monthIn(r.URL.Query().Get("released")); ok {
		body.Said = "The note for " + month.Format(monthInWords) + " is issued."
	}
	return nil
}

// noteLineOf leaves out how it went by e-mail for who sees nothing but the notes.
func noteLineOf(n *Note, record *site.Record, alone bool) noteLine {
	zone := record.Zone()
	l := noteLine{
		Plant: nameOf(record), PlantAt: plantAddress(record.ID) + "/notes",
		Period: (period{n.From.In(zone), n.To.In(zone)}).String(), Made: n.Made.In(zone).Format("2 Jan 2006"), Again: issueInWords(n.Issue),
	}
	for i := 0; i < len(n.Sent) && !alone; i++ {
		l.Sent = append(l.Sent, n.Sent[i].words(zone))
	}
	for _, name := range n.Files {
		l.Files = append(l.Files, noteFile{name, plantAddress(record.ID) + "/notes/" + escapePath(name)})
	}
	return l
}

// issueInWords says which issue a note is, "" for the first.
func issueInWords(issue int) string {
	if issue <= 1 {
		return ""
	}
	return fmt.Sprintf("issue %d, in the place of the one before", issue)
}

func (s Sending) words(zone *time.Location) string {
	day := s.At.In(zone).Format("2 Jan")
	if s.Failed != "" {
		return "not sent to " + s.To + ": " + s.Failed
	}
	return day + " to " + s.To
}

// notePolicy lets a note bring its own style and pictures, and nothing else: it is
// made to be read in a mail.
const notePolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; sandbox"

// noteTypes are the kinds of file a note may have.
var noteTypes = map[string]string{".pdf": "application/pdf", ".html": "text/html; charset=utf-8"}

// noteFile serves a file of a note.
func (s *server) noteFile(w http.ResponseWriter, r *http.Request) {
	record, err := s.record(r.PathValue("id"))
	name := r.PathValue("file")
	kind, known := noteTypes[path.Ext(name)]
	var body []byte
	ok := false
	if err == nil && known && s.Notes != nil {
		body, ok, err = s.Notes.NoteFile(r.Context(), record.ID, name)
	}
	if err == nil && !ok {
		err = notFound("There is no such note")
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	writeNote(w, kind, body)
}

func writeNote(w http.ResponseWriter, kind string, body []byte) {
	if kind == noteTypes[".html"] {
		w.Header().Set("Content-Security-Policy", notePolicy)
	}
	write(w, http.StatusOK, kind, body)
}

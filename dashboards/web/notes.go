package web

import (
	"context"
	"fmt"
	"net/http"
	"path"
	"time"
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
	Head  plantHead
	Notes []noteLine
}

// noteLine is a note in the list.
type noteLine struct {
	Period, Made string
	Sent         []string
	Files        []noteFile
}

// noteFile leads to a file of a note.
type noteFile struct{ Name, Address string }

func (s *server) notes(r *http.Request) (*page, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	body := &notesBody{}
	if body.Head, err = s.plantHead(r, record, "notes"); err != nil {
		return nil, err
	}
	if s.Notes == nil {
		return &page{Template: "notes", Title: "Notes, " + body.Head.Name, Body: body}, nil
	}
	kept, err := s.Notes.Notes(r.Context(), record.ID)
	if err != nil {
		return nil, fmt.Errorf("list notes of site %q: %w", record.ID, err)
	}
	for i := range kept {
		body.Notes = append(body.Notes, noteLineOf(&kept[i], record.ID, record.Zone()))
	}
	return &page{Template: "notes", Title: "Notes, " + body.Head.Name, Body: body}, nil
}

func noteLineOf(n *Note, id string, zone *time.Location) noteLine {
	l := noteLine{Period: (period{n.From.In(zone), n.To.In(zone)}).String(), Made: n.Made.In(zone).Format("2 Jan 2006")}
	for _, sent := range n.Sent {
		words := sent.At.In(zone).Format("2 Jan") + " to " + sent.To
		if sent.Failed != "" {
			words = "not sent to " + sent.To + ": " + sent.Failed
		}
		l.Sent = append(l.Sent, words)
	}
	for _, name := range n.Files {
		l.Files = append(l.Files, noteFile{name, plantAddress(id) + "/notes/" + escapePath(name)})
	}
	return l
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
	if kind == noteTypes[".html"] {
		w.Header().Set("Content-Security-Policy", notePolicy)
	}
	write(w, http.StatusOK, kind, body)
}

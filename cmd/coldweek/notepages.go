package main

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"time"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/web"
	"coldweek/ingest/site"
)

// issuedNotes shows the pages what was issued; drafts are not for homeowners.
type issuedNotes struct {
	archive *archive.Archive
	records func() []*site.Record
}

// noteName is how a file of an issue is called on the pages; the first issue has
// no number.
var noteName = regexp.MustCompile(`^([0-9]{4}-[0-9]{2})(?:-issue-([1-9][0-9]{0,3}))?\.(pdf|html)$`)

func namesOf(e *archive.Entry) []string {
	stem := e.Month
	if e.Issue > 1 {
		stem += fmt.Sprintf("-issue-%d", e.Issue)
	}
	return []string{stem + ".pdf", stem + ".html"}
}

// Notes returns a site's issues, the newest first.
func (n issuedNotes) Notes(_ context.Context, id string) ([]web.Note, error) {
	entries, err := n.archive.List(id)
	if err != nil {
		return nil, err
	}
	var notes []web.Note
	for i := range entries {
		e := &entries[i]
		if e.IsDraft() {
			continue
		}
		shown, err := n.shown(e)
		if err != nil {
			return nil, err
		}
		notes = append(notes, shown)
	}
	slices.Reverse(notes)
	return notes, nil
}

func (n issuedNotes) shown(e *archive.Entry) (web.Note, error) {
	month, err := note.ParseMonth(e.Month)
	if err != nil {
		return web.Note{}, err
	}
	zone := time.UTC
	for _, record := range n.records() {
		if record.ID == e.Site {
			zone = record.Zone()
		}
	}
	w := month.In(zone)
	shown := web.Note{From: w.From, To: w.To, Made: e.Released, Files: namesOf(e)}
	m, err := n.archive.Mail(*e)
	if err != nil {
		return shown, err
	}
	if m.State == archive.Sent {
		shown.Sent = []web.Sending{{At: m.At, To: m.To}}
	} else if m.To != "" && m.Why != "" {
		shown.Sent = []web.Sending{{At: m.At, To: m.To, Failed: m.Why}}
	}
	return shown, nil
}

// NoteFile returns a file of an issue.
func (n issuedNotes) NoteFile(_ context.Context, id, name string) ([]byte, bool, error) {
	parts := noteName.FindStringSubmatch(name)
	if parts == nil {
		return nil, false, nil
	}
	month, err := note.ParseMonth(parts[1])
	if err != nil {
		return nil, false, nil // such as a month 13: there is no such note
	}
	issue := 1
	if parts[2] != "" {
		issue, _ = strconv.Atoi(parts[2]) // digits, by the pattern
	}
	body, err := n.archive.File(id, month, issue, "note."+parts[3])
	if errors.Is(err, archive.ErrNone) {
		return nil, false, nil
	}
	return body, err == nil, err
}

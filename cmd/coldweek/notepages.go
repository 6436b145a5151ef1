package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strconv"
	"time"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/dispatch"
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
	if record := recordOf(n.records(), e.Site); record != nil {
		zone = record.Zone()
	}
	w := month.In(zone)
	shown := web.Note{Issue: e.Issue, From: w.From, To: w.To, Made: e.Released, Files: namesOf(e)}
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

// waitingNotes shows engineers the drafts, and lets them release them.
type waitingNotes struct {
	writer  dispatch.Writer
	records func() []*site.Record
	mails   bool
}

// Mails says whether e-mail is set up.
func (n waitingNotes) Mails() bool { return n.mails }

// Drafts returns those of a site, or of all.
func (n waitingNotes) Drafts(_ context.Context, id string) ([]web.Draft, error) {
	entries, err := n.writer.Archive.List(id)
	if err != nil {
		return nil, err
	}
	var drafts []web.Draft
	for i := range entries {
		if e := &entries[i]; e.IsDraft() {
			drafts = append(drafts, n.shown(e))
		}
	}
	slices.Reverse(drafts)
	return drafts, nil
}

func (n waitingNotes) shown(e *archive.Entry) web.Draft {
	d := web.Draft{
		Site: e.Site, Month: e.Month, Issue: e.Issue, Made: e.Written, Coverage: e.Coverage, Told: e.Told, Missing: e.Missing,
		Language: e.Language, Seal: sealOf(e),
	}
	if record := recordOf(n.records(), e.Site); record != nil && record.Contact != nil {
		d.To = record.Contact.HomeownerEmail
	}
	for _, name := range draftFiles {
		if e.Sums[name] != "" {
			d.Files = append(d.Files, name)
		}
	}
	return d
}

// sealOf is another for every draft that reads differently.
func sealOf(e *archive.Entry) string { return e.Sums[archive.HTMLFile] }

// draftFiles are those that pages show.
var draftFiles = []string{archive.HTMLFile, archive.PDFFile, archive.EngineerFile}

// recordOf returns a site's record, nil when it has none.
func recordOf(records []*site.Record, id string) *site.Record {
	for _, record := range records {
		if record.ID == id {
			return record
		}
	}
	return nil
}

// DraftFile returns a file of a draft.
func (n waitingNotes) DraftFile(_ context.Context, id, month, name string) ([]byte, bool, error) {
	m, err := note.ParseMonth(month)
	if err != nil || !slices.Contains(draftFiles, name) {
		return nil, false, nil // there is no such draft
	}
	body, err := n.writer.Archive.File(id, m, 0, name)
	if errors.Is(err, archive.ErrNone) || errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	return body, err == nil, err
}

// Release issues the draft that was looked at.
func (n waitingNotes) Release(_ context.Context, id, month, seal, by string) error {
	record := recordOf(n.records(), id)
	m, err := note.ParseMonth(month)
	if err != nil || record == nil {
		return web.ErrDraftGone
	}
	e, err := n.writer.Archive.Draft(id, m)
	if errors.Is(err, archive.ErrNone) || err == nil && (!e.IsDraft() || sealOf(&e) != seal) {
		return web.ErrDraftGone
	}
	if err != nil {
		return err
	}
	_, err = n.writer.Release(record, m, by)
	if errors.Is(err, archive.ErrNone) {
		return web.ErrDraftGone // released by somebody else meanwhile
	}
	return err
}

package web

import (
	"context"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tray holds drafts of December and what was issued of November, of two plants.
type tray struct {
	noMail   bool
	released *[]string // month, seal and by whom
}

func (y tray) Mails() bool { return !y.noMail }

func (y tray) Drafts(_ context.Context, id string) ([]Draft, error) {
	made := time.Date(2026, 1, 1, 7, 0, 0, 0, time.UTC)
	files := []string{"note.html", "note.pdf", "engineer.html"}
	switch id {
	case checked:
		return []Draft{{
			Site: id, Month: "2025-12", Issue: 2, Made: made, Coverage: 0.62, Told: []string{"Starts and stops often", attack}, Missing: []string{"efficiency"},
			To: "home@check.example", Language: "de", Seal: "abc", Files: files,
		}}, nil
	case hostile:
		return []Draft{{Site: id, Month: "2025-12", Issue: 1, Made: made, Coverage: 0.97, Language: attack, Seal: "def", Files: files}}, nil
	}
	return nil, nil
}

func (y tray) DraftFile(_ context.Context, _, month, name string) ([]byte, bool, error) {
	return []byte("<!doctype html><html lang=de><title>Entwurf</title><h1>Entwurf"), month == "2025-12" && draftNames[name] != "", nil
}

func (y tray) Release(_ context.Context, _, month, seal, by string) error {
	if seal != "abc" {
		return ErrDraftGone
	}
	*y.released = append(*y.released, month+" "+seal+" "+by)
	return nil
}

func (y tray) Notes(_ context.Context, id string) ([]Note, error) {
	if id != checked {
		return nil, nil
	}
	day := func(month time.Month, d int) time.Time { return time.Date(2025, month, d, 0, 0, 0, 0, time.UTC) }
	n := Note{Issue: 1, From: day(11, 1), To: day(12, 1), Made: day(12, 2), Files: []string{"2025-11.pdf", "2025-11.html"}, Sent: []Sending{{At: day(12, 2), To: "old@check.example", Failed: "no such user"}}}
	again := n
	again.Issue, again.Made, again.Files = 2, day(12, 3), []string{"2025-11-issue-2.pdf", "2025-11-issue-2.html"}
	again.Sent = []Sending{{At: day(12, 3), To: "home@check.example"}}
	return []Note{again, n}, nil
}

func (y tray) NoteFile(_ context.Context, id, name string) ([]byte, bool, error) {
	return []byte("<!doctype html><html lang=de><title>Brief</title><h1>Brief"), id == checked && name[:7] == "2025-11", nil
}

const draftOfDecember = "/plants/" + checked + "/drafts/2025-12"

// onTray are the pages over a tray, asked by who may change things or not.
func onTray(t *testing.T, may bool, change func(*Options)) (http.Handler, *[]string) {
	t.Helper()
	var released []string
	return pages(t, func(o *Options) {
		o.Notes, o.Drafts = tray{released: &released}, tray{released: &released}
		o.Who = func(*http.Request) (string, bool) { return "ruth", may }
		if change != nil {
			change(o)
		}
	}), &released
}

func TestDraftsWait(t *testing.T) {
	h, _ := onTray(t, true, nil)
	doc := document(t, h, "/plants/"+checked+"/notes", http.StatusOK)
	checkPage(t, "notes", doc)
	for _, want := range []string{"Waiting for release", "December 2025", "62 % of the month was measured", "It tells of: Starts and stops often", "Not known: efficiency",
		"issue 2, in the place of the one before", "not sent to old@check.example: no such user"} {
		assert.Contains(t, text(doc), want)
	}
	doc = document(t, h, draftOfDecember, http.StatusOK)
	checkPage(t, "draft", doc)
	assert.Contains(t, text(doc), "in German, to home@check.example")
	assert.Contains(t, text(doc), "With the numbers behind it, for you alone")
	require.Len(t, all(doc, "iframe"), 1)
	shown := get(h, attribute(all(doc, "iframe")[0], "src"))
	assert.Equal(t, http.StatusOK, shown.Code)
	assert.Equal(t, notePolicy, shown.Header().Get("Content-Security-Policy"))
	assert.Equal(t, "application/pdf", get(h, draftOfDecember+"/note.pdf").Header().Get("Content-Type"))
	for _, address := range []string{"/entry.json", "/mail.html", "/..%2fnote.html"} {
		assert.Equal(t, http.StatusNotFound, get(h, draftOfDecember+address).Code, address)
	}
	assert.Equal(t, http.StatusNotFound, get(h, "/plants/"+checked+"/drafts/2025-11").Code)
	assert.Contains(t, text(document(t, h, "/plants/"+hostile+"/drafts/2025-12", http.StatusOK)), "goes to nobody by e-mail")
}

func TestReleasing(t *testing.T) {
	h, released := onTray(t, true, nil)
	form := url.Values{"seal": {"abc"}}
	asked := post(h, draftOfDecember, form)
	assert.Equal(t, http.StatusUnprocessableEntity, asked.Code, "it is to be confirmed")
	assert.Contains(t, asked.Body.String(), "Tick that it may go out")
	form.Set("sure", "yes")
	stale := post(h, draftOfDecember, url.Values{"seal": {"old"}, "sure": {"yes"}})
	assert.Equal(t, http.StatusConflict, stale.Code, "another draft than the one that was looked at")
	assert.Empty(t, *released)
	done := post(h, draftOfDecember, form)
	assert.Equal(t, http.StatusSeeOther, done.Code)
	assert.Equal(t, []string{"2025-12 abc ruth"}, *released)
	assert.Contains(t, text(document(t, h, done.Header().Get("Location"), http.StatusOK)), "The note for December 2025 is issued.")

	viewer, released := onTray(t, false, nil)
	assert.Equal(t, http.StatusForbidden, post(viewer, draftOfDecember, form).Code)
	assert.NotContains(t, text(document(t, viewer, draftOfDecember, http.StatusOK)), "Release the note")
	assert.Empty(t, *released)
	elsewhere := post(h, draftOfDecember, form, func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") })
	assert.Equal(t, http.StatusForbidden, elsewhere.Code)
}

// TestHomeownersSeeWhatWasIssued, and neither drafts nor addresses.
func TestHomeownersSeeWhatWasIssued(t *testing.T) {
	h, released := onTray(t, false, func(o *Options) { o.NotesOnly = func(*http.Request) bool { return true } })
	doc := document(t, h, "/plants/"+checked+"/notes?released=2025-12", http.StatusOK)
	checkPage(t, "notes", doc)
	said := text(doc)
	assert.Contains(t, said, "Sat 1 Nov to Sun 30 Nov 2025")
	for _, secret := range []string{"@", "no such user", "Waiting", "December", "draft", "Sent", "not yet", "e-mail is set up"} {
		assert.NotContains(t, said, secret)
	}
	for _, a := range linked(t, "/plants/"+checked+"/notes", doc) {
		assert.NotContains(t, a, "draft")
	}
	for _, address := range []string{draftOfDecember, draftOfDecember + "/note.html", draftOfDecember + "/engineer.html", "/notes", "/notes?month=2025-11",
		"/plants/" + checked + "/notes/draft.html", "/plants/" + checked + "/notes/engineer.html"} {
		assert.Equal(t, http.StatusNotFound, get(h, address).Code, address)
	}
	assert.NotEqual(t, http.StatusSeeOther, post(h, draftOfDecember, url.Values{"seal": {"abc"}, "sure": {"yes"}}).Code)
	assert.Empty(t, *released)
}

func TestNotesOfAMonth(t *testing.T) {
	h, _ := onTray(t, true, nil)
	doc := document(t, h, "/notes", http.StatusOK)
	checkPage(t, "/notes", doc)
	assert.Contains(t, text(doc), "December 2025")
	assert.Contains(t, text(doc), "Nothing stands out")
	assert.Contains(t, text(doc), "No note was issued for this month.")
	assert.NotContains(t, text(doc), "No e-mail is set up")
	doc = document(t, h, "/notes?month=2025-11", http.StatusOK)
	checkPage(t, "/notes?month=2025-11", doc)
	assert.Contains(t, text(doc), "No draft waits")
	assert.Contains(t, text(doc), "3 Dec to home@check.example")
	assert.Equal(t, http.StatusBadRequest, get(h, "/notes?month=November").Code)
	h, _ = onTray(t, true, func(o *Options) { o.Drafts = tray{noMail: true} })
	for _, address := range []string{"/notes", "/plants/" + checked + "/notes", draftOfDecember} {
		assert.Contains(t, text(document(t, h, address, http.StatusOK)), "No e-mail is set up", address)
	}
}

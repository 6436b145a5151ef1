package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/dispatch"
	"coldweek/dashboards/web"
	"coldweek/ingest/site"
)

// TestNoteCommands goes the way of an engineer: look, draft, release, look again.
func TestNoteCommands(t *testing.T) {
	dir := newHome(t, "mill-cottage", "")
	csv := filepath.Join(t.TempDir(), "mill.csv")
	h := home{dir}
	_, _, code := coldweek(t, "rig", "csv", "--house", "mill-cottage", "--from", "2026-01-01", "--days", "31", "--every", "120s", "--record", h.sitePath("mill-cottage"), "--out", csv)
	require.Zero(t, code)
	run := func(want int, args ...string) (string, string) {
		t.Helper()
		out, err, code := coldweek(t, append(args, "--home", dir)...)
		require.Equal(t, want, code, "%s%s", out, err)
		return out, err
	}
	run(0, "load", "mill-cottage", csv)
	run(0, "watch", "mill-cottage", "--from", "2026-01-01", "--to", "2026-02-01")

	text, lacks := run(0, "note", "mill-cottage", "--month", "2026-01")
	assert.Contains(t, text, "Your heating in January\u00a02026")
	assert.Contains(t, text, "starts and stops often")
	assert.Contains(t, lacks, "contact.homeowner_email", "the engineer is told what the record lacks")
	german, _ := run(0, "note", "mill-cottage", "--month", "2026-01", "--language", "de")
	assert.Contains(t, german, "Ihre Heizung im Januar")
	var document note.Document
	asJSON, _ := run(0, "note", "mill-cottage", "--month", "2026-01", "--json")
	require.NoError(t, json.Unmarshal([]byte(asJSON), &document))
	assert.Contains(t, asJSON, `"this.heat.net_kwh"`)
	file := filepath.Join(t.TempDir(), "note.json")
	run(0, "note", "mill-cottage", "--month", "2026-01", "--json", "--out", file)
	inFile, err := os.ReadFile(file)
	require.NoError(t, err)
	var written note.Document
	require.NoError(t, json.Unmarshal(inFile, &written))
	assert.Equal(t, document.Parts, written.Parts)
	page, _ := run(0, "note", "mill-cottage", "--month", "2026-01", "--html", "--engineer")
	assert.Contains(t, page, "short_cycling@")
	paper := filepath.Join(t.TempDir(), "note.pdf")
	run(0, "note", "mill-cottage", "--month", "2026-01", "--pdf", "--out", paper)
	content, err := os.ReadFile(paper)
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(content, []byte("%PDF")))

	said, _ := run(0, "note", "--all", "--month", "2026-01")
	assert.Equal(t, "1 note, 0 issued already\n", said)
	listed, _ := run(0, "note", "list")
	assert.Contains(t, listed, "draft, waits for release")
	run(0, "note", "release", "mill-cottage", "--month", "2026-01", "--by", "ruth")
	_, why := run(2, "note", "release", "mill-cottage", "--month", "2026-01")
	assert.Contains(t, why, "issue 1 of 2026-01 is out", "a second release by mistake sends nothing twice")
	said, _ = run(0, "note", "--all", "--draft", "--month", "2026-01")
	assert.Equal(t, "0 notes, 1 issued already\n", said, "--all makes drafts, said or not")
	kept, _ := run(0, "note", "mill-cottage", "--month", "2026-01", "--issue", "1")
	assert.Equal(t, text, kept, "what was looked at is what was issued")
	run(0, "note", "mill-cottage", "--month", "2026-01", "--draft")
	releaseOnPages(t, h)
	again, _ := run(0, "note", "mill-cottage", "--month", "2026-01", "--issue", "2")
	assert.Contains(t, again, "This is issue 2.")
	listed, _ = run(0, "note", "list", "mill-cottage", "--json")
	var notes []listedNote
	require.NoError(t, json.Unmarshal([]byte(listed), &notes))
	require.Len(t, notes, 2)
	assert.Equal(t, archive.NotAsked, notes[1].Mail.State)

	checkNotesOnPages(t, h)

	checkNoteMistakes(t, dir)
}

// checkNoteMistakes: what cannot be done is refused, not half of it done.
func checkNoteMistakes(t *testing.T, dir string) {
	t.Helper()
	const usage, failed = exitUsage, exitFailed
	for _, wrong := range []struct {
		args string
		code int
		want string
	}{
		{"mill-cottage --month 2999-01", usage, "is not over yet"},
		{"mill-cottage --month January", usage, "write it as 2026-01"},
		{"mill-cottage --month 2026-01 --language tlh", usage, "only for de, en"},
		{"mil-cottage", usage, "did you mean"},
		{"mill-cottage --all", usage, "leave \"mill-cottage\" out"},
		{"mill-cottage --month 2026-01 --issue 7", failed, "no such note"},
		{"mill-cottage --html --pdf", usage, "[html pdf] were all set"},
		{"mill-cottage --issue 1 --json", usage, "[issue json] were all set"},
		{"mill-cottage --issue 1 --language de", usage, "[issue language] were all set"},
		{"mill-cottage --draft --out note.txt", usage, "[draft out] were all set"},
		{"mill-cottage --draft --pdf", usage, "[draft pdf] were all set"},
		{"--all --json", usage, "[all json] were all set"},
		{"--all --html", usage, "into which folder with --out"},
	} {
		out, err, code := coldweek(t, append(append([]string{"note"}, strings.Fields(wrong.args)...), "--home", dir)...)
		assert.Equal(t, wrong.code, code, wrong.args)
		assert.Contains(t, out+err, wrong.want, wrong.args)
	}
}

func TestMonthOfANote(t *testing.T) {
	record, err := site.Parse("mill.yaml", []byte("id: mill\ntime_zone: Pacific/Auckland\n"))
	require.NoError(t, err)
	now := time.Date(2026, 1, 31, 12, 0, 0, 0, time.UTC) // February there
	month, err := parseMonth("", record, now)
	require.NoError(t, err)
	assert.Equal(t, "2026-01", month.String())
	_, err = parseMonth("2026-02", record, now)
	assert.ErrorContains(t, err, "the last that is over is 2026-01")
}

// releaseOnPages looks at the draft as the pages do, and releases what was looked at.
func releaseOnPages(t *testing.T, h home) {
	t.Helper()
	kept, err := archive.Open(h.notesDir())
	require.NoError(t, err)
	record, err := site.Load(h.sitePath("mill-cottage"))
	require.NoError(t, err)
	pages := waitingNotes{dispatch.Writer{Archive: kept, Now: time.Now}, func() []*site.Record { return []*site.Record{record} }, true}
	drafts, err := pages.Drafts(t.Context(), "mill-cottage")
	require.NoError(t, err)
	require.Len(t, drafts, 1)
	d := drafts[0]
	assert.Equal(t, 2, d.Issue)
	assert.NotEmpty(t, d.Told)
	assert.Equal(t, []string{"note.html", "note.pdf", "engineer.html"}, d.Files)
	for _, name := range d.Files {
		_, ok, err := pages.DraftFile(t.Context(), "mill-cottage", d.Month, name)
		require.NoError(t, err)
		assert.True(t, ok, name)
	}
	behind, _, err := pages.DraftFile(t.Context(), "mill-cottage", d.Month, "engineer.html")
	require.NoError(t, err)
	assert.Contains(t, string(behind), "short_cycling@")
	for _, wrong := range [][2]string{{"2026-01", "entry.json"}, {"2026-01", "../1/note.html"}, {"2026-02", "note.html"}, {"..", "note.html"}} {
		_, ok, err := pages.DraftFile(t.Context(), "mill-cottage", wrong[0], wrong[1])
		require.NoError(t, err, wrong)
		assert.False(t, ok, wrong)
	}
	require.ErrorIs(t, pages.Release(t.Context(), "mill-cottage", d.Month, "another", "ruth"), web.ErrDraftGone)
	require.NoError(t, pages.Release(t.Context(), "mill-cottage", d.Month, d.Seal, "ruth"))
	require.ErrorIs(t, pages.Release(t.Context(), "mill-cottage", d.Month, d.Seal, "ruth"), web.ErrDraftGone, "a second click issues nothing")
}

// checkNotesOnPages: both issues with their files, and nothing else, whatever is
// asked for.
func checkNotesOnPages(t *testing.T, h home) {
	t.Helper()
	kept, err := archive.Open(h.notesDir())
	require.NoError(t, err)
	pages := issuedNotes{kept, func() []*site.Record { return nil }}
	notes, err := pages.Notes(t.Context(), "mill-cottage")
	require.NoError(t, err)
	require.Len(t, notes, 2)
	assert.Equal(t, []string{"2026-01-issue-2.pdf", "2026-01-issue-2.html"}, notes[0].Files)
	assert.Equal(t, []string{"2026-01.pdf", "2026-01.html"}, notes[1].Files)
	for _, n := range notes {
		for _, name := range n.Files {
			body, ok, err := pages.NoteFile(t.Context(), "mill-cottage", name)
			require.NoError(t, err)
			assert.True(t, ok && len(body) > 1000, name)
		}
	}
	for _, name := range []string{"2026-01-issue-3.pdf", "2026-13.pdf", "../1/entry.json", "2026-01.json", "draft.pdf", "engineer.html", "2026-01-engineer.html", "2026-02.html"} {
		_, ok, err := pages.NoteFile(t.Context(), "mill-cottage", name)
		require.NoError(t, err, name)
		assert.False(t, ok, name)
	}
}

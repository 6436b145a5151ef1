package archive_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
)

var (
	january = note.Month{Year: 2026, Month: time.January}
	at      = time.Date(2026, 2, 3, 8, 0, 0, 0, time.UTC)
)

func open(t *testing.T) (*archive.Archive, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "notes")
	a, err := archive.Open(dir)
	require.NoError(t, err)
	return a, dir
}

func entry(issue int) archive.Entry {
	return archive.Entry{Site: "mill", Month: "2026-01", Issue: issue, Language: "en", Written: at, Coverage: 0.97, Figures: map[string]note.Main{"rooms": {Value: 812.5}}}
}

func content(text string) map[string][]byte {
	return map[string][]byte{archive.PDFFile: []byte("%PDF " + text + "\x00\r\n"), archive.TextFile: []byte(text)}
}

// TestWhatWasIssuedStays byte for byte, whatever is drafted and issued after it.
func TestWhatWasIssuedStays(t *testing.T) {
	a, _ := open(t)
	_, err := a.PutDraft(january, entry(1), content("first draft"))
	require.NoError(t, err)
	_, err = a.PutDraft(january, entry(1), content("second draft"))
	require.NoError(t, err)
	draft, err := a.File("mill", january, 0, archive.PDFFile)
	require.NoError(t, err)

	released, err := a.Release("mill", january, "ruth", at, archive.Mail{To: "home@a.example"})
	require.NoError(t, err)
	assert.False(t, released.IsDraft())
	_, err = a.Draft("mill", january)
	assert.ErrorIs(t, err, archive.ErrNone)
	_, err = a.PutDraft(january, entry(1), content("late"))
	assert.ErrorContains(t, err, "the next is 2")
	_, err = a.PutDraft(january, entry(2), content("replaces it"))
	require.NoError(t, err)
	_, err = a.Release("mill", january, "ruth", at.Add(time.Hour), archive.Mail{})
	require.NoError(t, err)

	first, err := a.File("mill", january, 1, archive.PDFFile)
	require.NoError(t, err)
	assert.Equal(t, draft, first)
	assert.Equal(t, content("second draft")[archive.PDFFile], first)
	issues, err := a.Issues("mill", january)
	require.NoError(t, err)
	require.Len(t, issues, 2)
	assert.Equal(t, "ruth", issues[0].ReleasedBy)
	assert.True(t, issues[0].Released.Equal(at))
	m, err := a.Mail(issues[0])
	require.NoError(t, err)
	assert.Equal(t, archive.Waiting, m.State)
	m, err = a.Mail(issues[1])
	require.NoError(t, err)
	assert.Equal(t, archive.NotAsked, m.State, "there is no address")
	listed, err := a.List("")
	require.NoError(t, err)
	assert.Len(t, listed, 2)
}

func TestAnIssueThatWasTouchedIsNotHandedOut(t *testing.T) {
	a, dir := open(t)
	_, err := a.PutDraft(january, entry(1), content("as it was"))
	require.NoError(t, err)
	_, err = a.Release("mill", january, "ruth", at, archive.Mail{})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "mill", "2026-01", "1", archive.TextFile), []byte("as it was not"), 0o600))
	_, err = a.File("mill", january, 1, archive.TextFile)
	assert.ErrorContains(t, err, "is not what was kept")
	_, err = a.File("mill", january, 2, archive.TextFile)
	assert.ErrorIs(t, err, archive.ErrNone)
}

// TestAReleaseThatWasCutShortEnds: all but the move was done.
func TestAReleaseThatWasCutShortEnds(t *testing.T) {
	a, dir := open(t)
	_, err := a.PutDraft(january, entry(1), content("x"))
	require.NoError(t, err)
	released, err := a.Release("mill", january, "ruth", at, archive.Mail{To: "home@a.example"})
	require.NoError(t, err)
	month := filepath.Join(dir, "mill", "2026-01")
	require.NoError(t, os.Rename(filepath.Join(month, "1"), filepath.Join(month, "draft")))
	require.NoError(t, os.Mkdir(filepath.Join(month, ".new-123"), 0o750)) // of a draft that was cut short

	require.NoError(t, a.Settle("mill", january))
	require.NoError(t, a.Settle("mill", january))
	issues, err := a.Issues("mill", january)
	require.NoError(t, err)
	require.Len(t, issues, 1)
	assert.Equal(t, released, issues[0])
	listed, err := a.List("mill")
	require.NoError(t, err)
	assert.Len(t, listed, 1)
}

func TestWatchedSpansJoin(t *testing.T) {
	a, _ := open(t)
	day := func(d int) time.Time { return time.Date(2026, 1, d, 0, 0, 0, 0, time.UTC) }
	check := func(from, to int, want bool) {
		t.Helper()
		got, err := a.Watched("mill", day(from), day(to))
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	check(1, 32, false)
	for d := 1; d <= 20; d++ {
		require.NoError(t, a.MarkWatched("mill", archive.Span{From: day(d), To: day(d + 1)}))
	}
	check(1, 21, true)
	check(1, 32, false)
	require.NoError(t, a.MarkWatched("mill", archive.Span{From: day(25), To: day(33)}))
	check(1, 32, false)
	require.NoError(t, a.MarkWatched("mill", archive.Span{From: day(19), To: day(26)}))
	check(1, 32, true)
	check(-5, 32, false)
}

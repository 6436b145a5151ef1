package journal_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/journal"
)

func TestTheFileIsTheOwnersAlone(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("file modes are those of POSIX")
	}
	path := newPath(t)
	j := open(t, path, journal.Options{})
	add(t, j, plantBatch("moorhof", 0, 8))
	for _, suffix := range []string{"", "-wal", "-shm", ".reserve"} {
		info, err := os.Stat(path + suffix)
		require.NoError(t, err)
		assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm(), path+suffix)
	}
}

// What the connections promise is SQLite's: with a write-ahead log and
// synchronous=FULL (2) a commit that returned survives a loss of power
// (https://www.sqlite.org/pragma.html#pragma_synchronous).
func TestCommitsAreDurable(t *testing.T) {
	j := open(t, newPath(t), journal.Options{})
	for pragma, want := range map[string]string{
		"journal_mode": "wal", "synchronous": "2", "busy_timeout": "5000", "auto_vacuum": "2",
	} {
		assert.Equal(t, want, j.Ask("PRAGMA "+pragma), pragma)
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	fails := func(path string, want error) {
		t.Helper()
		_, err := journal.Open(t.Context(), path, journal.Options{LockWait: time.Millisecond})
		require.ErrorIs(t, err, want)
		assert.ErrorContains(t, err, filepath.Base(path))
	}
	fails(filepath.Join(t.TempDir(), "none", "journal.db"), fs.ErrNotExist)

	text := newPath(t)
	require.NoError(t, os.WriteFile(text, []byte("time,flow_temp_c\n2026-01-01T00:00:00Z,31.5\n"), 0o600))
	fails(text, journal.ErrForeign)

	path := newPath(t)
	j := open(t, path, journal.Options{})
	j.Ask("PRAGMA user_version = 99")
	fails(path, journal.ErrNewer)
	j.Ask("PRAGMA user_version = 1")
	j.Ask("PRAGMA application_id = 1")
	fails(path, journal.ErrForeign)
}

// An outage leaves a long file; worked off, it is short again.
func TestFreePagesAreGivenBack(t *testing.T) {
	path := newPath(t)
	j := open(t, path, journal.Options{})
	for n := range 300 {
		add(t, j, plantBatch("moorhof", n, 5000))
	}
	require.NoError(t, j.Close())
	long := sizeOf(t, path)
	require.Greater(t, long, int64(4<<20))
	j = open(t, path, journal.Options{})
	for batches := next(t, j, 20_000); len(batches) > 0; batches = next(t, j, 20_000) {
		require.NoError(t, j.Drop(t.Context(), batches.Through()))
	}
	require.NoError(t, j.Close())
	assert.LessOrEqual(t, sizeOf(t, path), int64(2<<20))
}

func sizeOf(t testing.TB, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	require.NoError(t, err)
	return info.Size()
}

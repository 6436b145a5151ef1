package local_test

import (
	"context"
	"database/sql"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/storetest"
)

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "readings.db") }

// tamper runs statements on a file behind the store's back.
func tamper(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	for _, statement := range statements {
		_, err := db.Exec(statement)
		require.NoError(t, err, statement)
	}
	require.NoError(t, db.Close())
}

func TestTheFileIsTheOwnersAlone(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("file modes are those of POSIX")
	}
	path := newPath(t)
	s := open(t, path, local.Options{})
	_, err := s.Append(t.Context(), storetest.PlantDay("moorhof", 0))
	require.NoError(t, err)
	for _, suffix := range []string{"", "-wal", "-shm"} {
		info, err := os.Stat(path + suffix)
		require.NoError(t, err)
		assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm(), path+suffix)
	}
}

// What the connections promise is SQLite's: with a write-ahead log and
// synchronous=FULL (2) a commit that returned survives a loss of power
// (https://www.sqlite.org/pragma.html#pragma_synchronous).
func TestCommitsAreDurable(t *testing.T) {
	s := open(t, newPath(t), local.Options{})
	for pragma, want := range map[string]string{
		"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000", "auto_vacuum": "2",
	} {
		assert.Equal(t, want, s.Ask("PRAGMA "+pragma), pragma)
	}
}

func TestAnyPathWillDo(t *testing.T) {
	for _, name := range []string{"a b.db", "50%.db", "what?mode=ro", "a#b", "ä ö.db", "a&b=c;d", "file:x.db"} {
		path := filepath.Join(t.TempDir(), name)
		s := open(t, path, local.Options{})
		_, err := s.Append(t.Context(), []ingest.Reading{{Site: "moorhof", Channel: "power", Time: suiteNow(), Value: 1}})
		require.NoError(t, err, name)
		require.NoError(t, s.Close())
		info, err := os.Stat(path)
		require.NoError(t, err)
		assert.Positive(t, info.Size(), name)
	}
}

func TestARelativePathWillDo(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, open(t, "readings.db", local.Options{}).Close())
	assert.FileExists(t, "readings.db")
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	fails := func(path string, want error, words string) {
		t.Helper()
		_, err := local.Open(t.Context(), path, local.Options{LockWait: time.Millisecond})
		require.ErrorIs(t, err, want)
		assert.ErrorContains(t, err, words)
		assert.ErrorContains(t, err, filepath.Base(path))
	}
	fails(filepath.Join(t.TempDir(), "none", "readings.db"), fs.ErrNotExist, "open store")

	text := newPath(t)
	require.NoError(t, os.WriteFile(text, []byte("time,flow_temp_c\n2026-01-01T00:00:00Z,31.5\n"), 0o600))
	fails(text, local.ErrForeign, "no coldweek store")

	other := newPath(t)
	tamper(t, other, "CREATE TABLE recipe (name TEXT)")
	fails(other, local.ErrForeign, "no coldweek store")

	newer := newPath(t)
	require.NoError(t, open(t, newer, local.Options{}).Close())
	tamper(t, newer, "PRAGMA user_version = 99")
	fails(newer, local.ErrNewer, "version 99")

	locked := newPath(t)
	require.NoError(t, open(t, locked, local.Options{}).Close())
	db, err := sql.Open("sqlite", locked+"?_txlock=exclusive")
	require.NoError(t, err)
	tx, err := db.Begin()
	require.NoError(t, err)
	fails(locked, local.ErrLocked, "another process")
	require.NoError(t, tx.Rollback())
	require.NoError(t, db.Close())
	require.NoError(t, open(t, locked, local.Options{}).Close())
}

func TestADamagedBlockIsNamed(t *testing.T) {
	path := newPath(t)
	s := open(t, path, local.Options{})
	_, err := s.Append(t.Context(), storetest.PlantDay("moorhof", 0))
	require.NoError(t, err)
	tamper(t, path, "UPDATE block SET data = zeroblob(length(data)) WHERE series = 3")
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	_, err = s.Scan(t.Context(), "moorhof", storetest.PlantChannels, from, from.AddDate(0, 0, 1))
	require.ErrorIs(t, err, local.ErrDamaged)
	assert.ErrorContains(t, err, "series 3, day 20089") // 2025-01-01 is day 20089 since 1970 (date -d 2025-01-01 +%s / 86400)

	tamper(t, path, "UPDATE block SET count = 99999999999 WHERE series = 3")
	_, err = s.Scan(t.Context(), "moorhof", storetest.PlantChannels, from, from.AddDate(0, 0, 1))
	require.ErrorIs(t, err, local.ErrDamaged)
}

func TestADamagedRowIsNamed(t *testing.T) {
	path := newPath(t)
	s := open(t, path, asRows)
	fill(t, s, 1)
	tamper(t, path, "UPDATE fresh SET readings = x'ff' WHERE unix_ms = 1735689610000")
	_, err := s.Scan(t.Context(), "moorhof", storetest.PlantChannels, year2025, suiteNow())
	require.ErrorIs(t, err, local.ErrDamaged)
	assert.ErrorContains(t, err, "site 1, time 1735689610000")
	_, err = s.Seal(t.Context(), suiteNow())
	require.ErrorIs(t, err, local.ErrDamaged)
}

func TestAWaitingAppendCanBeCancelled(t *testing.T) {
	s := open(t, newPath(t), local.Options{})
	release := s.Hold()
	ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	_, err := s.Append(ctx, storetest.PlantDay("moorhof", 0))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	release()
	changed, err := s.Append(t.Context(), storetest.PlantDay("moorhof", 0))
	require.NoError(t, err)
	assert.Equal(t, int64(8*8640), changed)
}

// Two stores on one file stand for two processes, such as the service and a
// loading command beside it.
func TestTwoProcessesShareAFile(t *testing.T) {
	path := newPath(t)
	a, b := open(t, path, local.Options{}), open(t, path, local.Options{})
	first := ingest.Reading{Site: "moorhof", Channel: "power", Time: suiteNow().AddDate(0, 0, -2), Value: 1}
	for i, s := range []*local.Store{a, b, a, b} {
		changed, err := s.Append(t.Context(), []ingest.Reading{first})
		require.NoError(t, err)
		assert.Equal(t, i == 0, changed == 1)
	}
	_, err := b.Seal(t.Context(), suiteNow())
	require.NoError(t, err)
	changed, err := a.Append(t.Context(), []ingest.Reading{first})
	require.NoError(t, err)
	assert.Zero(t, changed, "one looks into the block the other made")

	first.Value = 2
	changed, err = a.Append(t.Context(), []ingest.Reading{first})
	require.NoError(t, err)
	assert.Equal(t, int64(1), changed)
	columns, err := b.Scan(t.Context(), "moorhof", []ingest.Channel{"power"}, first.Time, suiteNow())
	require.NoError(t, err)
	assert.Equal(t, []float64{2}, columns[0].Value)
	assert.Equal(t, "1", a.Ask("SELECT count(*) FROM series"))
}

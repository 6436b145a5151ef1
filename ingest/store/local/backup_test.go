package local_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/sqlitefile"
	"coldweek/ingest/store/storetest"
)

// TestBackupUnderAppends backs up while appends go on: the copy must hold all
// that was acknowledged before the backup began, and each append wholly or not.
func TestBackupUnderAppends(t *testing.T) {
	s := open(t, newPath(t), asRows)
	fill(t, s, 2)
	const batchSize = 80
	var going sync.WaitGroup
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	batches := storetest.PlantDay("moorhof", 2)
	started := make(chan struct{})
	going.Go(func() {
		for i := 0; ctx.Err() == nil && (i+1)*batchSize <= len(batches); i++ {
			if _, err := s.Append(t.Context(), batches[i*batchSize:(i+1)*batchSize]); err != nil {
				t.Error(err)
			}
			if i == 3 {
				close(started)
			}
		}
	})
	<-started
	before := scanAll(t, s)
	dest := filepath.Join(t.TempDir(), "copy.db")
	var done, total int64
	require.NoError(t, s.Backup(t.Context(), dest, sqlitefile.BackupOptions{Progress: func(d, of int64) {
		assert.LessOrEqual(t, d, of)
		assert.Greater(t, d, done)
		done, total = d, of
	}}))
	stop()
	going.Wait()
	assert.Equal(t, total, done)

	info, err := os.Stat(dest)
	require.NoError(t, err)
	assert.Equal(t, total, info.Size())
	assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm())
	copied := open(t, dest, asRows)
	after := scanAll(t, copied)
	for i, c := range before {
		n := c.Len()
		require.GreaterOrEqual(t, after[i].Len(), n)
		require.Equal(t, c.UnixMS, after[i].UnixMS[:n])
		require.Equal(t, c.Value, after[i].Value[:n])
		assert.Zero(t, (after[i].Len()-n)%(batchSize/8), "no half append")
	}
	_, err = copied.Append(t.Context(), batches[:8])
	require.NoError(t, err)
	assert.Equal(t, "ok", copied.Ask("PRAGMA integrity_check"))
}

func names(t *testing.T, folder string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func TestBackupOverwritesOnlyWhenAsked(t *testing.T) {
	path := newPath(t)
	s := open(t, path, local.Options{})
	fill(t, s, 1)
	dest := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(dest, []byte("mine"), 0o600))
	err := s.Backup(t.Context(), dest, sqlitefile.BackupOptions{})
	require.ErrorIs(t, err, fs.ErrExist)
	kept, err := os.ReadFile(dest)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(kept))

	require.NoError(t, s.Backup(t.Context(), dest, sqlitefile.BackupOptions{Overwrite: true}))
	assert.Equal(t, []string{"copy.db"}, names(t, filepath.Dir(dest)))
	assert.Equal(t, scanAll(t, s), scanAll(t, open(t, dest, local.Options{})))

	assert.ErrorContains(t, s.Backup(t.Context(), dest, sqlitefile.BackupOptions{Overwrite: true}), "in use")
	assert.ErrorContains(t, s.Backup(t.Context(), path, sqlitefile.BackupOptions{Overwrite: true}), "the file itself")
	missing := filepath.Join(t.TempDir(), "none", "copy.db")
	assert.ErrorIs(t, s.Backup(t.Context(), missing, sqlitefile.BackupOptions{}), fs.ErrNotExist)
}

func TestACancelledBackupLeavesNothing(t *testing.T) {
	s := open(t, newPath(t), asRows)
	fill(t, s, 1)
	ctx, cancel := context.WithCancel(t.Context())
	dest := filepath.Join(t.TempDir(), "copy.db")
	err := s.Backup(ctx, dest, sqlitefile.BackupOptions{Progress: func(int64, int64) { cancel() }})
	require.ErrorIs(t, err, context.Canceled)
	assert.Empty(t, names(t, filepath.Dir(dest)))
	assert.True(t, errors.Is(err, context.Canceled))

	require.NoError(t, s.Backup(t.Context(), dest, sqlitefile.BackupOptions{}))
	extents, err := open(t, dest, local.Options{}).Extents(t.Context(), "moorhof")
	require.NoError(t, err)
	assert.Len(t, extents, len(storetest.PlantChannels))
	assert.Equal(t, ingest.Channel("compressor_speed"), extents[0].Channel)
}

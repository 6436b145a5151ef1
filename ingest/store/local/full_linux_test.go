package local_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/local"
	"coldweek/ingest/store/sqlitefile"
	"coldweek/ingest/store/storetest"
)

// smallDisk mounts a file system of some bytes.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("mounting a small disk is not permitted here: %v", err)
	}
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(folder, syscall.MNT_DETACH)) })
	return folder
}

func TestAFullDiskIsSaidAndOvercome(t *testing.T) {
	for name, options := range map[string]local.Options{"rows": asRows, "blocks": {}} {
		t.Run(name, func(t *testing.T) {
			disk := smallDisk(t, "4m")
			ballast := filepath.Join(disk, "ballast")
			require.NoError(t, os.WriteFile(ballast, make([]byte, 2<<20), 0o600))
			path := filepath.Join(disk, "readings.db")
			s := open(t, path, options)

			days := 0
			var err error
			for ; err == nil; days++ {
				require.Less(t, days, 200, "two megabytes are never full")
				_, err = s.Append(t.Context(), storetest.PlantDay("moorhof", days))
			}
			days--
			require.ErrorIs(t, err, local.ErrFull)
			require.ErrorContains(t, err, "free some space")
			for range 3 {
				_, err = s.Append(t.Context(), storetest.PlantDay("moorhof", days))
				require.ErrorIs(t, err, local.ErrFull)
			}
			stored := scanAll(t, s)
			assert.Equal(t, days*8640, stored[0].Len(), "what was acknowledged, no half batch")

			require.NoError(t, os.Remove(ballast))
			changed, err := s.Append(t.Context(), storetest.PlantDay("moorhof", days))
			require.NoError(t, err)
			assert.Equal(t, int64(8*8640), changed)
			assert.Equal(t, "ok", s.Ask("PRAGMA integrity_check"))
			stored = scanAll(t, s)
			require.NoError(t, s.Close())
			assert.Equal(t, stored, scanAll(t, open(t, path, options)))
		})
	}
}

func TestAFullDiskFailsOpenAndBackup(t *testing.T) {
	disk := smallDisk(t, "64k")
	_, err := local.Open(t.Context(), filepath.Join(disk, "readings.db"), local.Options{})
	require.ErrorIs(t, err, local.ErrFull)

	s := open(t, newPath(t), asRows)
	fill(t, s, 1)
	disk = smallDisk(t, "256k")
	err = s.Backup(t.Context(), filepath.Join(disk, "copy.db"), sqlitefile.BackupOptions{})
	require.ErrorIs(t, err, local.ErrFull)
	assert.Empty(t, names(t, disk))
}

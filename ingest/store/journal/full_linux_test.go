package journal_test

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/journal"
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

// appendUntilFull appends until the disk is full and returns how many batches
// were acknowledged.
func appendUntilFull(t *testing.T, j *journal.Journal, size int) int {
	t.Helper()
	for n := range 100_000 {
		if _, err := j.Append(t.Context(), plantBatch("moorhof", n, size)); err != nil {
			require.ErrorIs(t, err, journal.ErrFull)
			require.ErrorContains(t, err, "free some space")
			return n
		}
	}
	t.Fatal("the disk is never full")
	return 0
}

func TestAFullDiskIsSaidAndOvercome(t *testing.T) {
	for name, size := range map[string]int{"messages": 8, "loads": 5000} {
		t.Run(name, func(t *testing.T) {
			disk := smallDisk(t, "20m")
			ballast := filepath.Join(disk, "ballast")
			require.NoError(t, os.WriteFile(ballast, make([]byte, 2<<20), 0o600))
			path := filepath.Join(disk, "journal.db")
			j := open(t, path, journal.Options{})
			n := appendUntilFull(t, j, size)
			for range 3 {
				_, err := j.Append(t.Context(), plantBatch("moorhof", n, size))
				require.ErrorIs(t, err, journal.ErrFull)
			}
			checkWaiting(t, j, 0, n, size)

			require.NoError(t, os.Remove(ballast))
			_, err := j.Append(t.Context(), plantBatch("moorhof", n, size))
			require.NoError(t, err)
			require.NoError(t, j.Close())
			checkWaiting(t, open(t, path, journal.Options{}), 0, n+1, size)
		})
	}
}

// fillUp takes what room is left on a disk.
func fillUp(t *testing.T, disk string) {
	t.Helper()
	f, err := os.Create(filepath.Join(disk, "full"))
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, f.Close())
}

// workOff forwards all that waits on a full disk, from batch 0 on, and then
// appends one more.
func workOff(t *testing.T, j *journal.Journal, size int) {
	t.Helper()
	end := int(depthOf(t, j).Batches)
	for first := 0; first < end; {
		batches := next(t, j, 20_000)
		for i, batch := range batches {
			require.Equal(t, plantBatch("moorhof", first+i, size), batch.Readings)
		}
		require.NoError(t, j.Drop(t.Context(), batches.Through()), "after %d of %d", first, end)
		first += len(batches)
		require.Equal(t, int64(end-first), depthOf(t, j).Batches)
	}
	add(t, j, plantBatch("moorhof", end, size))
	require.Equal(t, "ok", j.Ask("PRAGMA integrity_check"))
}

// A forwarder needs no room to work a full disk off.
func TestAFullDiskIsWorkedOff(t *testing.T) {
	for name, size := range map[string]int{"messages": 8, "loads": 5000} {
		t.Run(name, func(t *testing.T) {
			disk := smallDisk(t, "20m")
			j := open(t, filepath.Join(disk, "journal.db"), journal.Options{})
			require.Positive(t, appendUntilFull(t, j, size))
			fillUp(t, disk)
			workOff(t, j, size)
		})
	}
}

func TestADiskThatIsFullFromTheStart(t *testing.T) {
	_, err := journal.Open(t.Context(), filepath.Join(smallDisk(t, "16k"), "journal.db"), journal.Options{})
	require.ErrorIs(t, err, journal.ErrFull)

	disk := smallDisk(t, "1m")
	j := open(t, filepath.Join(disk, "journal.db"), journal.Options{})
	_, err = j.Append(t.Context(), plantBatch("moorhof", 0, 8))
	require.ErrorIs(t, err, journal.ErrFull, "no room to hold in reserve")
	assert.NoFileExists(t, filepath.Join(disk, "journal.db.reserve"))
}

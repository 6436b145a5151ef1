package journal_test

import (
	"bufio"
	"context"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest/store/journal"
)

// The test binary is also the process that is killed: with these in its
// environment it appends and says so until it dies.
const (
	crashPath = "COLDWEEK_TEST_CRASH_PATH"
	crashFrom = "COLDWEEK_TEST_CRASH_FROM"
	crashSize = 40 // readings a batch
)

func TestMain(m *testing.M) {
	if path := os.Getenv(crashPath); path != "" {
		from, err := strconv.Atoi(os.Getenv(crashFrom))
		if err != nil {
			log.Fatal(err)
		}
		log.Fatal(appendUntilKilled(path, from))
	}
	os.Exit(m.Run())
}

// appendUntilKilled prints the number of each batch once it is acknowledged.
func appendUntilKilled(path string, n int) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, path, journal.Options{})
	if err != nil {
		return err
	}
	for ; ; n++ {
		if _, err := j.Append(ctx, plantBatch("moorhof", n, crashSize)); err != nil {
			return err
		}
		fmt.Println(n)
	}
}

func child(path string, from int) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), crashPath+"="+path, crashFrom+"="+strconv.Itoa(from))
	return c
}

// killAfter runs a process from batch n on, kills it in the midst of its work
// after it has acknowledged some batches, and returns the last acknowledged.
func killAfter(t *testing.T, path string, n, batches int) int {
	t.Helper()
	c := child(path, n)
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	acknowledged, last := 0, n-1
	for lines := bufio.NewScanner(out); lines.Scan(); {
		last, err = strconv.Atoi(lines.Text())
		require.NoError(t, err)
		if acknowledged++; acknowledged == batches {
			require.NoError(t, c.Process.Kill())
		}
	}
	require.Error(t, c.Wait(), "it was killed")
	require.GreaterOrEqual(t, acknowledged, batches)
	return last
}

// TestNothingAcknowledgedIsLostToAKill kills a process that appends, again and
// again on the same file, while this one forwards part of it. A kill cannot undo
// what the kernel was given; that a loss of power cannot either is
// synchronous=FULL's promise, see TestCommitsAreDurable.
func TestNothingAcknowledgedIsLostToAKill(t *testing.T) {
	rounds := 20
	if testing.Short() {
		rounds = 3
	}
	path := newPath(t)
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 0))
	first, next := 0, 0
	for round := range rounds {
		last := killAfter(t, path, next, 1+rng.IntN(60))
		j := open(t, path, journal.Options{})
		require.Equal(t, "ok", j.Ask("PRAGMA integrity_check"), "round %d", round)
		depth, err := j.Depth(t.Context())
		require.NoError(t, err)
		next = first + int(depth.Batches)
		require.Contains(t, []int{last + 1, last + 2}, next, "what was acknowledged, and at most the one begun")
		checkWaiting(t, j, first, next, crashSize)
		batches, err := j.Next(t.Context(), rng.IntN(40*crashSize))
		require.NoError(t, err)
		require.NoError(t, j.Drop(t.Context(), batches.Through()))
		first += len(batches)
		require.NoError(t, j.Close())
	}
	t.Logf("%d batches, %d forwarded", next, first)
}

func TestAJournalLeftOnAFullDiskIsWorkedOff(t *testing.T) {
	path := filepath.Join(smallDisk(t, "16m"), "journal.db")
	out, err := child(path, 0).Output()
	require.Error(t, err, "it stops when the disk is full")
	require.NotEmpty(t, out)
	require.NoError(t, os.Remove(path+"-shm"))
	fillUp(t, filepath.Dir(path))
	j := open(t, path, journal.Options{})
	workOff(t, j, crashSize)
}

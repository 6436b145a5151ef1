package local_test

import (
	"bufio"
	"context"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// The test binary is also the process that is killed: with these in its
// environment it appends and says so until it dies.
const (
	crashPath = "COLDWEEK_TEST_CRASH_PATH"
	crashFrom = "COLDWEEK_TEST_CRASH_FROM"
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

const (
	fewInBatch  = 40  // go into rows
	manyInBatch = 300 // go straight into blocks
)

// crashBatch is the k-th batch: new readings of a slow channel and of one with
// many, an old value replaced, and a part of the batch before again.
func crashBatch(k int) []ingest.Reading {
	var batch []ingest.Reading
	add := func(channel ingest.Channel, n int, value float64) {
		at := year2025.Add(time.Duration(n) * 10 * time.Second)
		batch = append(batch, ingest.Reading{Site: "moorhof", Channel: channel, Time: at, Value: value})
	}
	for i := max(0, k*fewInBatch-10); i < (k+1)*fewInBatch; i++ {
		add("flow_temp", i, float64(i))
	}
	for i := k * manyInBatch; i < (k+1)*manyInBatch; i++ {
		add("power", i, float64(-i))
	}
	add("mode", 0, float64(k))
	return batch
}

// appendUntilKilled prints the number of each batch once it is acknowledged.
func appendUntilKilled(path string, k int) error {
	ctx := context.Background()
	s, err := local.Open(ctx, path, local.Options{Now: suiteNow})
	if err != nil {
		return err
	}
	failed := make(chan error)
	go func() {
		for {
			if _, err := s.Seal(ctx, suiteNow()); err != nil {
				failed <- err
			}
		}
	}()
	go func() {
		for ; ; k++ {
			if _, err := s.Append(ctx, crashBatch(k)); err != nil {
				failed <- err
			}
			if err := s.Refuse(ctx, []ingest.Rejected{{Reason: ingest.BadTime}}); err != nil {
				failed <- err
			}
			fmt.Println(k)
		}
	}()
	return <-failed
}

// killAfter runs a process from batch k on, kills it in the midst of its work
// after it has acknowledged some batches, and returns the last acknowledged.
func killAfter(t *testing.T, path string, k, batches int) int {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), crashPath+"="+path, crashFrom+"="+strconv.Itoa(k))
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	acknowledged, last := 0, k-1
	for lines := bufio.NewScanner(out); lines.Scan(); {
		last, err = strconv.Atoi(lines.Text())
		require.NoError(t, err)
		if acknowledged++; acknowledged == batches {
			require.NoError(t, child.Process.Kill())
		}
	}
	require.Error(t, child.Wait(), "it was killed")
	require.GreaterOrEqual(t, acknowledged, batches)
	return last
}

// TestNothingAcknowledgedIsLostToAKill kills a writer that appends and seals,
// again and again on the same file. A kill cannot undo what the kernel was
// given; that a loss of power cannot either is synchronous=FULL's promise, see
// TestCommitsAreDurable.
func TestNothingAcknowledgedIsLostToAKill(t *testing.T) {
	rounds := 20
	if testing.Short() {
		rounds = 3
	}
	path := newPath(t)
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 0))
	last := -1
	for round := range rounds {
		last = killAfter(t, path, last+1, 1+rng.IntN(30))
		s := open(t, path, local.Options{})
		require.Equal(t, "ok", s.Ask("PRAGMA integrity_check"), "round %d", round)
		checkAcknowledged(t, s, last)
		require.NoError(t, s.Close())
	}
	t.Logf("%d batches acknowledged", last+1)
}

// checkAcknowledged checks that batches up to last are there once, and of the
// one after all or nothing.
func checkAcknowledged(t *testing.T, s store.Store, last int) {
	t.Helper()
	columns, err := s.Scan(t.Context(), "moorhof", []ingest.Channel{"flow_temp", "power", "mode"}, year2025, suiteNow())
	require.NoError(t, err)
	batches := columns[0].Len() / fewInBatch
	require.Contains(t, []int{last + 1, last + 2}, batches)
	require.Equal(t, batches*fewInBatch, columns[0].Len())
	require.Equal(t, batches*manyInBatch, columns[1].Len())
	require.Equal(t, []float64{float64(batches - 1)}, columns[2].Value)
	for i, sign := range []float64{1, -1} {
		for n, ms := range columns[i].UnixMS {
			if ms != year2025.UnixMilli()+int64(n)*10_000 || columns[i].Value[n] != sign*float64(n) {
				t.Fatalf("%s: reading %d is %g at %d", columns[i].Channel, n, columns[i].Value[n], ms)
			}
		}
	}
	counts, err := s.RefusalCounts(t.Context())
	require.NoError(t, err)
	assert.GreaterOrEqual(t, counts[0].Total, int64(last+1))
}

package load_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/load"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

var plain = &site.Record{ID: "mill-lane-4", TimeZone: "Europe/London"}

// history is a file of n rows ten seconds apart, with a bad cell every
// thousandth row.
func history(n int) []byte {
	var b bytes.Buffer
	b.WriteString("time,flow_temp_c,return_temp_c,power_w\n")
	start := time.Date(2026, 1, 20, 0, 0, 0, 0, time.UTC)
	for i := range n {
		flow := fmt.Sprintf("%.2f", 30+float64(i%700)/100)
		if i%1000 == 999 {
			flow = "broken"
		}
		fmt.Fprintf(&b, "%s,%s,%.1f,%d\n", start.Add(time.Duration(i)*10*time.Second).Format(time.RFC3339), flow, 25+float64(i%50)/10, 1000+i%900)
	}
	return b.Bytes()
}

func writeFile(t testing.TB, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	return path
}

// clean loads a file into a store of its own: what every other way of loading
// it must come to.
func clean(t testing.TB, path string) (readings, refused []string, result load.Result) {
	t.Helper()
	st := openStore(t)
	result, err := load.File(context.Background(), st, plain, path, load.Options{Now: clock, BatchSize: 1000})
	require.NoError(t, err)
	return contents(t, st, plain.ID), refusals(t, st), result
}

// watched counts what goes into a store and can fail.
type watched struct {
	*local.Store
	appended int
	batches  int
	before   func(batch int) error // instead of storing
	after    func(batch int) error // once stored
}

func (w *watched) Append(ctx context.Context, batch []ingest.Reading) (int64, error) {
	w.batches++
	if w.before != nil {
		if err := w.before(w.batches); err != nil {
			return 0, err
		}
	}
	changed, err := w.Store.Append(ctx, batch)
	if err != nil {
		return 0, err
	}
	w.appended += len(batch)
	if w.after != nil {
		return changed, w.after(w.batches)
	}
	return changed, nil
}

func TestLoadingTwiceChangesNothing(t *testing.T) {
	path := writeFile(t, "history.csv", history(5500))
	st := openStore(t)
	opts := load.Options{Now: clock, BatchSize: 1000, MarkDir: t.TempDir()}
	first, err := load.File(t.Context(), st, plain, path, opts)
	require.NoError(t, err)
	assert.Equal(t, int64(5500), first.Rows)
	assert.Equal(t, int64(3*5500-5), first.Readings)
	assert.Equal(t, first.Readings, first.Changed)
	assert.Equal(t, int64(5), first.Rejected)
	assert.Equal(t, []ingest.Channel{"flow_temp", "return_temp", "power"}, first.Columns)
	assert.Equal(t, time.Date(2026, 1, 20, 0, 0, 0, 0, time.UTC), first.From)
	assert.Equal(t, first.From.Add(5499*10*time.Second), first.To)
	readings, refused := contents(t, st, plain.ID), refusals(t, st)
	require.Len(t, readings, 3*5500-5)
	require.Len(t, refused, 5)

	second, err := load.File(t.Context(), st, plain, path, opts)
	require.NoError(t, err)
	first.Changed = 0
	assert.Equal(t, first, second)
	assert.Equal(t, readings, contents(t, st, plain.ID))
	assert.Equal(t, refused, refusals(t, st))
}

func TestInterruptedLoadGoesOn(t *testing.T) {
	for _, name := range []string{"history.csv", "history.csv.gz"} {
		content := history(9500)
		if strings.HasSuffix(name, ".gz") {
			content = compress(t, content)
		}
		path := writeFile(t, name, content)
		wantReadings, wantRefused, wantResult := clean(t, path)

		ctx, cancel := context.WithCancel(t.Context())
		st := &watched{Store: openStore(t)}
		st.after = func(batch int) error {
			if batch == 4 {
				cancel()
			}
			return nil
		}
		opts := load.Options{Now: clock, BatchSize: 1000, MarkDir: t.TempDir()}
		part, err := load.File(ctx, st, plain, path, opts)
		require.ErrorIs(t, err, context.Canceled)
		assert.Less(t, part.Rows, int64(9500))
		assert.GreaterOrEqual(t, part.Rows, int64(3000))

		again := &watched{Store: st.Store}
		result, err := load.File(t.Context(), again, plain, path, opts)
		require.NoError(t, err)
		assert.Equal(t, part.Rows, result.ResumedRow)
		assert.Less(t, again.appended, 3*(9500-3000)+1, "the rows before are not loaded again")
		wantResult.ResumedRow, wantResult.Changed, result.Changed = result.ResumedRow, 0, 0
		assert.Equal(t, wantResult, result)
		assert.Equal(t, wantReadings, contents(t, st.Store, plain.ID))
		assert.Equal(t, wantRefused, refusals(t, st.Store))
		leftover, err := os.ReadDir(opts.MarkDir)
		require.NoError(t, err)
		assert.Empty(t, leftover, "a finished load leaves no mark")
	}
}

// A crash between the store's commit and the mark, and one before the commit,
// at every batch there is.
func TestCrashAnywhereThenLoadAgain(t *testing.T) {
	path := writeFile(t, "history.csv", history(4500))
	wantReadings, wantRefused, wantResult := clean(t, path)
	crash := errors.New("crash")
	for batch := 1; batch <= 5; batch++ {
		for _, stored := range []bool{false, true} {
			st := &watched{Store: openStore(t)}
			fail := func(n int) error {
				if n == batch {
					return crash
				}
				return nil
			}
			if stored {
				st.after = fail
			} else {
				st.before = fail
			}
			opts := load.Options{Now: clock, BatchSize: 1000, MarkDir: t.TempDir()}
			_, err := load.File(t.Context(), st, plain, path, opts)
			require.ErrorIs(t, err, crash)
			result, err := load.File(t.Context(), st.Store, plain, path, opts)
			require.NoError(t, err)
			assert.Equal(t, int64(1000*(batch-1)), result.ResumedRow)
			assert.Equal(t, wantResult.Readings, result.Readings)
			assert.Equal(t, wantReadings, contents(t, st.Store, plain.ID))
			assert.Equal(t, wantRefused, refusals(t, st.Store))
		}
	}
}

// A mark is only of the same file, read in the same way.
func TestMarkOfAnotherFileIsNotUsed(t *testing.T) {
	content := history(4500)
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	for name, change := range map[string]func(path string, opts *load.Options) *site.Record{
		"content": func(path string, _ *load.Options) *site.Record {
			changed := bytes.Replace(content, []byte("30.00"), []byte("31.00"), 1)
			require.NoError(t, os.WriteFile(path, changed, 0o600))
			return plain
		},
		"size": func(path string, _ *load.Options) *site.Record {
			require.NoError(t, os.WriteFile(path, history(4501), 0o600))
			return plain
		},
		"mapping": func(_ string, _ *load.Options) *site.Record {
			return &site.Record{ID: plain.ID, Channels: map[ingest.Channel]site.Source{"flow_temp": {Column: "flow_temp_c", Unit: "K"}}}
		},
		"zone": func(_ string, opts *load.Options) *site.Record { opts.Zone = zone; return plain },
		"site": func(_ string, _ *load.Options) *site.Record { return &site.Record{ID: "brook-end"} },
		"torn": func(_ string, opts *load.Options) *site.Record {
			marks, err := filepath.Glob(filepath.Join(opts.MarkDir, "load-*"))
			require.NoError(t, err)
			require.Len(t, marks, 1)
			require.NoError(t, os.Truncate(marks[0], 40))
			return plain
		},
	} {
		path := writeFile(t, "history.csv", content)
		st := &watched{Store: openStore(t), before: func(batch int) error {
			if batch == 3 {
				return errors.New("crash")
			}
			return nil
		}}
		opts := load.Options{Now: clock, BatchSize: 1000, MarkDir: t.TempDir()}
		_, err := load.File(t.Context(), st, plain, path, opts)
		require.Error(t, err)
		record := change(path, &opts)
		result, err := load.File(t.Context(), st.Store, record, path, opts)
		require.NoError(t, err, name)
		assert.Zero(t, result.ResumedRow, name)
	}
}

func TestMarkThatCannotBeWrittenIsAWarning(t *testing.T) {
	path := writeFile(t, "history.csv", history(2500))
	opts := load.Options{Now: clock, BatchSize: 1000, MarkDir: filepath.Join(t.TempDir(), "missing")}
	result, err := load.File(t.Context(), openStore(t), plain, path, opts)
	require.NoError(t, err)
	assert.Equal(t, int64(2500), result.Rows)
	require.Len(t, result.Warnings, 1)
	assert.Contains(t, result.Warnings[0], "cannot remember how far the load came")
}

// TestKilledProcess kills a process that loads, at several moments, then loads
// again. The process is this test binary.
func TestKilledProcess(t *testing.T) {
	if home := os.Getenv("COLDWEEK_LOAD_HOME"); home != "" {
		loadAndReport(t, home)
		return
	}
	path := writeFile(t, "history.csv", history(20_500))
	wantReadings, wantRefused, _ := clean(t, path)
	for _, batches := range []int{1, 2, 7, 19} {
		home := t.TempDir()
		require.NoError(t, os.Symlink(path, filepath.Join(home, "history.csv")))
		killAfter(t, home, batches)
		st, err := local.Open(t.Context(), filepath.Join(home, "coldweek.db"), local.Options{Now: clock})
		require.NoError(t, err)
		result, err := load.File(t.Context(), st, plain, filepath.Join(home, "history.csv"), load.Options{Now: clock, BatchSize: 1000, MarkDir: home})
		require.NoError(t, err)
		assert.GreaterOrEqual(t, result.ResumedRow, int64(1000*(batches-1)))
		assert.Equal(t, int64(20_500), result.Rows)
		assert.Equal(t, wantReadings, contents(t, st, plain.ID))
		assert.Equal(t, wantRefused, refusals(t, st))
		require.NoError(t, st.Close())
	}
}

// killAfter starts the load in a process and kills it after so many batches.
func killAfter(t *testing.T, home string, batches int) {
	t.Helper()
	process := exec.Command(os.Args[0], "-test.run=^TestKilledProcess$", "-test.v")
	process.Env = append(os.Environ(), "COLDWEEK_LOAD_HOME="+home)
	out, err := process.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, process.Start())
	seen := 0
	for lines := bufio.NewScanner(out); seen < batches && lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "batch ") {
			seen++
		}
	}
	require.NoError(t, process.Process.Kill())
	require.Error(t, process.Wait(), "killed, not finished")
	require.Equal(t, batches, seen)
}

// loadAndReport is the process that is killed.
func loadAndReport(t *testing.T, home string) {
	st, err := local.Open(t.Context(), filepath.Join(home, "coldweek.db"), local.Options{Now: clock})
	require.NoError(t, err)
	reporting := &watched{Store: st, after: func(batch int) error { _, err := fmt.Printf("batch %d\n", batch); return err }}
	_, err = load.File(t.Context(), reporting, plain, filepath.Join(home, "history.csv"), load.Options{Now: clock, BatchSize: 1000, MarkDir: home})
	require.NoError(t, err)
}

var _ load.Store = store.Store(nil)

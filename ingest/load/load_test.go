package load_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/load"
)

func compress(t testing.TB, content []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write(content)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return b.Bytes()
}

// Gzip is told by its magic (RFC 1952 section 2.3.1), not by the name, and a
// file may be several members one after the other (section 2.2).
func TestGzip(t *testing.T) {
	content := history(3000)
	want, _, _ := clean(t, writeFile(t, "plain.csv", content))
	half := bytes.LastIndexByte(content[:len(content)/2], '\n') - 5
	for name, packed := range map[string][]byte{
		"history.csv":    compress(t, content),
		"history.csv.gz": append(compress(t, content[:half]), compress(t, content[half:])...),
		"plain.csv.gz":   content,
	} {
		st := openStore(t)
		_, err := load.File(t.Context(), st, plain, writeFile(t, name, packed), load.Options{Now: clock})
		require.NoError(t, err, name)
		assert.Equal(t, want, contents(t, st, plain.ID), name)
	}
}

func TestCutOffGzipKeepsWhatCame(t *testing.T) {
	packed := compress(t, history(3000))
	st := openStore(t)
	result, err := load.File(t.Context(), st, plain, writeFile(t, "history.csv.gz", packed[:len(packed)/2]), load.Options{Now: clock})
	assert.ErrorContains(t, err, "unexpected EOF; what came before it is loaded")
	assert.Greater(t, result.Rows, int64(1000))
	assert.Len(t, contents(t, st, plain.ID), int(result.Readings))
}

func TestOtherFormatsAreNamed(t *testing.T) {
	for content, want := range map[string]string{
		"PK\x03\x04.......":                           "a zip archive or a spreadsheet: save it as CSV",
		"\x28\xb5\x2f\xfd....":                        "zstd",
		"\xfd7zXZ\x00....":                            "xz",
		"BZh9....":                                    "bzip2",
		"\xff\xfet\x00i\x00m\x00e\x00":                "UTF-16: save it as UTF-8",
		"SQLite format 3\x00":                         "a SQLite database",
		"t\x00i\x00m\x00e\x00,\x00\n":                 "zero bytes",
		"time,flow_temp_\xb0C\n":                      "not UTF-8",
		"time,flow_temp_c\r2026-01-30T10:00:00Z,35\r": "carriage return alone",
		strings.Repeat("x", 1<<18+1):                  "the line is longer than 262144 bytes",
		"":                                            "the file is empty",
	} {
		_, err := load.Reader(t.Context(), openStore(t), plain, "x", strings.NewReader(content), load.Options{Now: clock})
		assert.ErrorContains(t, err, want)
	}
}

func TestFileThatIsNoFile(t *testing.T) {
	_, err := load.File(t.Context(), openStore(t), plain, t.TempDir(), load.Options{Now: clock})
	assert.ErrorContains(t, err, "it is a folder; name the file in it")
	_, err = load.File(t.Context(), openStore(t), plain, "nowhere.csv", load.Options{Now: clock})
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, err = load.Reader(t.Context(), openStore(t), plain, "x", strings.NewReader("time,power_w\n"), load.Options{})
	assert.ErrorContains(t, err, "there is no clock")
}

func TestReadErrorKeepsWhatCame(t *testing.T) {
	broken := errors.New("the stick was pulled")
	st := openStore(t)
	result, err := load.Reader(t.Context(), st, plain, "history.csv", &brokenReader{content: history(2000), err: broken}, load.Options{Now: clock})
	require.ErrorIs(t, err, broken)
	assert.Equal(t, int64(1999), result.Rows, "all but the row that may be cut off")
	assert.Len(t, contents(t, st, plain.ID), int(result.Readings))
}

type brokenReader struct {
	content []byte
	err     error
}

func (r *brokenReader) Read(p []byte) (int, error) {
	if len(r.content) < 10 {
		return 0, r.err
	}
	n := copy(p, r.content[:len(r.content)-5])
	r.content = r.content[n:]
	return n, nil
}

// Progress is in bytes as they lie on disk, only grows, and ends at the total.
func TestProgress(t *testing.T) {
	for name, content := range map[string][]byte{"history.csv": history(5500), "history.csv.gz": compress(t, history(5500))} {
		var done []int64
		opts := load.Options{Now: clock, BatchSize: 1000, Progress: func(d, total int64) {
			assert.Equal(t, int64(len(content)), total)
			done = append(done, d)
		}}
		_, err := load.File(t.Context(), openStore(t), plain, writeFile(t, name, content), opts)
		require.NoError(t, err)
		assert.Len(t, done, 6)
		assert.True(t, slices.IsSorted(done), "%v", done)
		assert.Equal(t, int64(len(content)), done[len(done)-1])
	}
}

// A batch is one channel after the other, each in strictly ascending time.
func TestBatchesAreByChannel(t *testing.T) {
	lines := strings.SplitAfter(string(history(3000)), "\n")
	rows := lines[1 : len(lines)-1]
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	st := &batches{}
	_, err := load.Reader(t.Context(), st, plain, "x", strings.NewReader(lines[0]+strings.Join(rows, "")+strings.Join(rows[:50], "")), load.Options{Now: clock, BatchSize: 1500})
	require.NoError(t, err)
	require.Len(t, st.all, 3)
	for _, batch := range st.all {
		var channels []ingest.Channel
		for i, r := range batch {
			if i == 0 || batch[i-1].Channel != r.Channel {
				channels = append(channels, r.Channel)
			} else {
				require.True(t, batch[i-1].Time.Before(r.Time))
			}
		}
		assert.Equal(t, []ingest.Channel{"flow_temp", "return_temp", "power"}, channels)
	}
}

// However a history is cut, overlapped and shuffled into files, the store ends
// with the same.
func TestFilesInAnyOrder(t *testing.T) {
	content := history(4000)
	want, _, _ := clean(t, writeFile(t, "history.csv", content))
	lines := strings.SplitAfter(string(content), "\n")
	header, rows := lines[0], lines[1:len(lines)-1]
	random := rand.New(rand.NewPCG(3, 4))
	for range 5 {
		st := openStore(t)
		var parts []string
		for from := 0; from < len(rows); from += 700 {
			part := slices.Clone(rows[max(0, from-random.IntN(300)):min(len(rows), from+700)])
			random.Shuffle(len(part), func(i, j int) { part[i], part[j] = part[j], part[i] })
			parts = append(parts, header+strings.Join(part, ""))
		}
		random.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
		for i, part := range parts {
			_, err := load.Reader(t.Context(), st, plain, fmt.Sprintf("part-%d.csv", i), strings.NewReader(part), load.Options{Now: clock, BatchSize: 100 + random.IntN(600)})
			require.NoError(t, err)
		}
		assert.Equal(t, want, contents(t, st, plain.ID))
	}
}

// A wrong column of a long file does not flood the quarantine.
func TestRefusalsOfAColumnAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,flow_temp_c,power_w\n")
	start := time.Date(2026, 1, 20, 0, 0, 0, 0, time.UTC)
	for i := range 1500 {
		fmt.Fprintf(&b, "%s,850,17\n", start.Add(time.Duration(i)*time.Minute).Format(time.RFC3339))
	}
	b.WriteString("later,20,17\n" + strings.Repeat("y", 2<<20) + "\n" + start.Format(time.RFC3339) + ",20,18\n")
	st := openStore(t)
	for range 2 {
		result, err := load.Reader(t.Context(), st, plain, "x.csv", strings.NewReader(b.String()), load.Options{Now: clock, BatchSize: 1000})
		require.NoError(t, err)
		assert.Equal(t, int64(1502), result.Rejected)
		assert.Equal(t, int64(1502), result.Readings)
		got := refusals(t, st)
		require.Len(t, got, 103)
		assert.Contains(t, got[100], "bad_time x.csv:1502:time")
		assert.Contains(t, got[101], "bad_payload x.csv:1503:time the line is longer than 262144 bytes")
		assert.Equal(t, `bad_payload x.csv::flow_temp_c 1400 more values of column "flow_temp_c" were refused; only the first 100 are listed`, got[102])
	}
}

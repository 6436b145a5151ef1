package load_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/load"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

var now = time.Date(2026, 1, 31, 8, 0, 0, 0, time.UTC)

func clock() time.Time { return now }

// openStore returns an empty store.
func openStore(t testing.TB) *local.Store {
	t.Helper()
	s, err := local.Open(t.Context(), filepath.Join(t.TempDir(), "coldweek.db"), local.Options{Now: clock})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// contents lists all readings of a site as the scripts write them.
func contents(t testing.TB, s *local.Store, siteID string) []string {
	t.Helper()
	extents, err := s.Extents(context.Background(), siteID)
	require.NoError(t, err)
	var all []string
	for _, e := range extents {
		columns, err := s.Scan(context.Background(), siteID, []ingest.Channel{e.Channel}, time.Unix(0, 0), now.Add(1000*time.Hour))
		require.NoError(t, err)
		for i, ms := range columns[0].UnixMS {
			all = append(all, fmt.Sprintf("%s %s %s", e.Channel, strconv.FormatFloat(columns[0].Value[i], 'f', -1, 64),
				time.UnixMilli(ms).UTC().Format(time.RFC3339Nano)))
		}
	}
	return all
}

// refusals lists the quarantine, oldest first, as the scripts write them.
func refusals(t testing.TB, s *local.Store) []string {
	t.Helper()
	refused, err := s.Refusals(context.Background(), 10_000)
	require.NoError(t, err)
	var all []string
	for i := len(refused) - 1; i >= 0; i-- {
		all = append(all, fmt.Sprintf("%s %s %s", refused[i].Reason, refused[i].Topic, refused[i].Detail))
	}
	return all
}

// sample is one file of a script in testdata/load; layouts.txt says how they
// read.
type sample struct {
	where    string
	name     string
	options  []string
	content  []string
	expected []string
}

func (s sample) bytes() []byte {
	end := "\n"
	if s.has("crlf") {
		end = "\r\n"
	}
	text := strings.Join(s.content, end) + end
	if s.has("unterminated") {
		text = strings.TrimSuffix(text, end)
	}
	if s.has("bom") {
		text = "\xef\xbb\xbf" + text
	}
	return []byte(text)
}

func (s sample) has(option string) bool {
	for _, o := range s.options {
		if o == option {
			return true
		}
	}
	return false
}

func (s sample) loadOptions(t *testing.T) load.Options {
	t.Helper()
	opts := load.Options{Now: clock, SkipUnknown: s.has("skip-unknown")}
	for _, o := range s.options {
		key, value, _ := strings.Cut(o, "=")
		switch key {
		case "ignore":
			opts.Ignore = append(opts.Ignore, value)
		case "time":
			opts.TimeColumn = value
		case "zone":
			zone, err := time.LoadLocation(value)
			require.NoError(t, err)
			opts.Zone = zone
		}
	}
	return opts
}

func TestScripts(t *testing.T) {
	files, err := filepath.Glob("../../testdata/load/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		record, samples := readScript(t, file)
		for _, s := range samples {
			t.Run(filepath.Base(file)+"/"+s.name, func(t *testing.T) { checkSample(t, record, s) })
		}
	}
}

func checkSample(t *testing.T, record *site.Record, s sample) {
	var readings, refused, warnings, failure []string
	for _, line := range s.expected {
		if text, ok := strings.CutPrefix(line, "= "); ok {
			readings = append(readings, text)
		} else if text, ok := strings.CutPrefix(line, "! "); ok {
			refused = append(refused, text)
		} else if text, ok := strings.CutPrefix(line, "warning "); ok {
			warnings = append(warnings, text)
		} else if text, ok := strings.CutPrefix(line, "error "); ok {
			failure = append(failure, text)
		} else {
			t.Fatalf("%s: %q is no expectation", s.where, line)
		}
	}
	st := openStore(t)
	result, err := load.Reader(t.Context(), st, record, s.name, bytes.NewReader(s.bytes()), s.loadOptions(t))
	if failure != nil {
		assert.ErrorContains(t, err, failure[0], s.where)
	} else {
		require.NoError(t, err, s.where)
	}
	assert.ElementsMatch(t, readings, contents(t, st, record.ID), s.where)
	assertHold(t, refused, refusals(t, st), s.where)
	assertHold(t, warnings, result.Warnings, s.where)
}

// assertHold checks that each text holds what is expected of it: reason and
// place from its beginning, the rest somewhere.
func assertHold(t *testing.T, want, got []string, where string) {
	t.Helper()
	if !assert.Len(t, got, len(want), "%s: %q", where, got) {
		return
	}
	for i, w := range want {
		for _, part := range strings.SplitN(w, " ", 3) {
			assert.Contains(t, got[i], part, where)
		}
	}
}

func readScript(t testing.TB, file string) (*site.Record, []sample) {
	t.Helper()
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(content, []byte("# source")), "%s says where its expectations come from", file)
	var recordLines []string
	var samples []sample
	into := &recordLines
	lines := bufio.NewScanner(bytes.NewReader(content))
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		switch {
		case strings.HasPrefix(line, "  "):
			*into = append(*into, line[2:])
		case line == "record", line == "", line[0] == '#':
		case strings.HasPrefix(line, "file "):
			words := strings.Fields(line)
			samples = append(samples, sample{where: fmt.Sprintf("%s:%d", filepath.Base(file), n), name: words[1], options: words[2:]})
			into = &samples[len(samples)-1].content
		default:
			last := &samples[len(samples)-1]
			last.expected = append(last.expected, line)
		}
	}
	record, err := site.Parse("record", []byte(strings.Join(recordLines, "\n")))
	require.NoError(t, err)
	return record, samples
}

package payload_test

import (
	"bufio"
	"bytes"
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
	"coldweek/ingest/payload"
	"coldweek/ingest/site"
)

// arrived is "now" in the scripts.
var arrived = time.Date(2026, 1, 31, 8, 0, 0, 0, time.UTC)

// script is a file of testdata/payload; bare.txt says how they read.
type script struct {
	records  []*site.Record
	messages []message
}

type message struct {
	where string
	topic string
	body  []byte
	want  []string
}

func TestScripts(t *testing.T) {
	files, err := filepath.Glob("../../testdata/payload/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		s := readScript(t, file)
		d, err := payload.NewDecoder(s.records)
		require.NoError(t, err, file)
		for _, m := range s.messages {
			readings, rejected := d.Decode(m.topic, m.body, arrived)
			checkMessage(t, s, m, readings, rejected)
		}
	}
}

func checkMessage(t *testing.T, s script, m message, readings []ingest.Reading, rejected []ingest.Rejected) {
	t.Helper()
	var wantReadings, wantRefusals []string
	for _, line := range m.want {
		if refusal, ok := strings.CutPrefix(line, "! "); ok {
			wantRefusals = append(wantRefusals, refusal)
		} else {
			wantReadings = append(wantReadings, strings.TrimPrefix(line, "= "))
		}
	}
	var got []string
	for _, r := range readings {
		got = append(got, describe(r, s.records[0].ID))
	}
	assert.ElementsMatch(t, wantReadings, got, "%s: readings; refused: %v", m.where, details(rejected))
	if !assert.Len(t, rejected, len(wantRefusals), "%s: %v", m.where, details(rejected)) {
		return
	}
	for _, want := range wantRefusals {
		reason, detail, _ := strings.Cut(want, " ")
		found := false
		for _, r := range rejected {
			found = found || string(r.Reason) == reason && strings.Contains(r.Detail, detail)
		}
		assert.True(t, found, "%s: no refusal %q in %v", m.where, want, details(rejected))
	}
}

// describe writes a reading as the scripts do.
func describe(r ingest.Reading, firstSite string) string {
	text := fmt.Sprintf("%s %s", r.Channel, strconv.FormatFloat(r.Value, 'f', -1, 64))
	if r.Site != firstSite {
		text = r.Site + ": " + text
	}
	if !r.Time.Equal(arrived) {
		text += " " + r.Time.Format(time.RFC3339Nano)
	}
	return text
}

func details(rejected []ingest.Rejected) []string {
	var all []string
	for _, r := range rejected {
		all = append(all, string(r.Reason)+" "+r.Detail)
	}
	return all
}

func readScript(t testing.TB, file string) script {
	t.Helper()
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(content, []byte("# source")), "%s says where its expectations come from", file)
	var s script
	var block []string
	flush := func() {}
	lines := bufio.NewScanner(bytes.NewReader(content))
	for n := 1; lines.Scan(); n++ {
		line := lines.Text()
		switch {
		case strings.HasPrefix(line, "#") || line == "":
		case line == "record":
			flush()
			block, flush = nil, func() { s.records = append(s.records, readRecord(t, block)) }
		case strings.HasPrefix(line, "message "):
			flush()
			m := message{where: fmt.Sprintf("%s:%d", filepath.Base(file), n), topic: strings.TrimPrefix(line, "message ")}
			block, flush = nil, func() {
				m.body = []byte(strings.Join(block, "\n"))
				s.messages = append(s.messages, m)
			}
		case strings.HasPrefix(line, "  "):
			block = append(block, line[2:])
		default:
			flush()
			flush = func() {}
			require.NotEmpty(t, s.messages, "%s:%d", file, n)
			last := &s.messages[len(s.messages)-1]
			last.want = append(last.want, strings.TrimPrefix(line, "= "+s.records[0].ID+": "))
		}
	}
	flush()
	return s
}

func readRecord(t testing.TB, lines []string) *site.Record {
	t.Helper()
	r, err := site.Parse("record", []byte(strings.Join(lines, "\n")))
	require.NoError(t, err)
	return r
}

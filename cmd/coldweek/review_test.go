package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/analysis/review"
)

// TestReviewByCommandLine asks for a cold week as text, JSON and a page.
func TestReviewByCommandLine(t *testing.T) {
	dir := newHome(t, "orchard-house", "id: orchard-house\ntime_zone: Europe/London\n")
	file, record := filepath.Join(t.TempDir(), "orchard.csv"), filepath.Join(dir, "sites", "orchard-house.yaml")
	require.NoError(t, os.Remove(record))
	must(t, "rig", "csv", "--house", "orchard-house", "--from", "2026-01-05", "--days", "10", "--every", "60s", "--trouble", "low_flow@4=0.65", "--out", file, "--record", record)
	must(t, "load", "orchard-house", file, "--home", dir)

	text := must(t, "review", "orchard-house", "--home", dir)
	assert.Contains(t, strings.Join(strings.Fields(text), " "), "the coldest seven days in a row of the last 10 stored.")
	assert.Contains(t, text, "LOOK AT THIS\n  Flow ")
	assert.Less(t, strings.Index(text, "LOOK AT THIS"), strings.Index(text, "\nGOOD\n"))
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, "\n")), 80, line)
	}

	var r review.Review
	require.NoError(t, json.Unmarshal([]byte(must(t, "review", "orchard-house", "--home", dir, "--from", "2026-01-08", "--json")), &r))
	assert.Equal(t, "2026-01-08 2026-01-15", r.From.Format("2006-01-02 ")+r.To.Format("2006-01-02"))
	assert.Equal(t, len(r.Points), r.Counts.Good+r.Counts.Look+r.Counts.NotKnown)

	page := filepath.Join(t.TempDir(), "review.html")
	assert.Empty(t, must(t, "review", "orchard-house", "--home", dir, "--html", "--out", page))
	assertStandsAlone(t, page)
}

// assertStandsAlone wants a page that refers to no other file.
func assertStandsAlone(t *testing.T, path string) {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	doc, err := html.Parse(file)
	require.NoError(t, err)
	points := 0
	for n := range doc.Descendants() {
		for _, a := range n.Attr {
			assert.NotContains(t, []string{"href", "src", "srcset", "action"}, a.Key, "<%s %s=%q>", n.Data, a.Key, a.Val)
			if a.Key == "class" && strings.HasPrefix(a.Val, "point ") {
				points++
			}
		}
		if n.Type == html.TextNode && n.Parent.Data == "style" {
			assert.NotContains(t, n.Data, "url(")
			assert.NotContains(t, n.Data, "@import")
		}
	}
	assert.Equal(t, 13, points)
}

func TestReviewRefusesWhatItCannotDo(t *testing.T) {
	dir := newHome(t, "barn", "id: barn\ntime_zone: Europe/London\n")
	refuse := func(want string, args ...string) {
		t.Helper()
		_, errOut, code := coldweek(t, append([]string{"review", "barn", "--home", dir}, args...)...)
		assert.Equal(t, 2, code)
		assert.Contains(t, errOut, want)
	}
	refuse("exclude each other", "--json", "--html")
	refuse("write it as 2026-01-31", "--from", "5 January")
	refuse("write it as 2026-01-31", "--to", "soon")
	refuse("the last date is exclusive", "--from", "2026-01-05", "--to", "2026-01-05")
	assert.Contains(t, must(t, "review", "barn", "--home", dir), "of which nothing is stored")
}

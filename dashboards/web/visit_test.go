package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/ingest/site"
)

// beechRecord has comments in every place, and a visit between other entries.
const beechRecord = `# Beech, as handed over
id: beech
name: Beech # the owners call it so
time_zone: Europe/Berlin

# What was read on site.
visits:
  # the day it was commissioned
  - time: 2025-11-20T10:30:00+01:00 # morning
    by: Ada
    readings:
      - {channel: flow_temp, value: 35.5}

# Rooms, as promised.
emitters:
  rooms:
    - {place: kitchen, set_temp_c: 21, floor_heating_area_m2: 18} # tiles
    - {place: hall}
commissioned:
  flow_rate_lph: 1200
  circuits:
    - {name: ground, flow_rate_lph: 700}
    - {name: upper, flow_rate_lph: 500}
# the end
`

// clinic is a deployment whose records are files.
func clinic(t *testing.T, id, record string) (http.Handler, string) {
	t.Helper()
	dir := t.TempDir()
	path := recordPath(dir, id)
	require.NoError(t, os.WriteFile(path, []byte(record), 0o640))
	w := newWard(t, func(o *Options) {
		r, err := site.Load(path)
		require.NoError(t, err)
		o.Sites, o.SitesDir = func() []*site.Record { return []*site.Record{r} }, dir
	})
	return w.h, path
}

var aVisit = url.Values{
	"at": {"2026-01-15T09:10"}, "by": {"Ada"}, "note": {"cold: kitchen # not a comment"}, "flow_unit": {"L/min"},
	"room_temp/kitchen.0": {"20,5"}, "floor_temp/kitchen.0": {"26.5"}, "floor_temp/kitchen.2": {"25"}, "flow_rate/ground.0": {"11.5"}, "outdoor_temp.0": {minus + "3"},
	"channel1": {"return_temp/north"}, "value1": {"28"},
}

func TestVisitIsWrittenDown(t *testing.T) {
	h, path := clinic(t, "beech", beechRecord)
	answer := post(h, "/plants/beech/visit", aVisit)
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body)
	written, err := os.ReadFile(path)
	require.NoError(t, err)
	head, tail, found := strings.Cut(beechRecord, "\n# Rooms, as promised.")
	require.True(t, found)
	assert.True(t, strings.HasPrefix(string(written), head), "what stood before is as it was")
	assert.True(t, strings.HasSuffix(string(written), "\n# Rooms, as promised."+tail), "and what stood after")
	record, err := site.Load(path)
	require.NoError(t, err)
	require.Len(t, record.Visits, 2)
	assert.Equal(t, site.Visit{
		Time: "2026-01-15T09:10:00+01:00", By: "Ada", Note: "cold: kitchen # not a comment",
		Readings: []site.SpotReading{
			{Channel: "outdoor_temp", Value: -3, Unit: "Cel"}, {Channel: "flow_rate/ground", Value: 11.5, Unit: "L/min"}, {Channel: "room_temp/kitchen", Value: 20.5, Unit: "Cel"},
			{Channel: "floor_temp/kitchen", Value: 26.5, Unit: "Cel"}, {Channel: "floor_temp/kitchen", Value: 25, Unit: "Cel"}, {Channel: "return_temp/north", Value: 28, Unit: "Cel"},
		},
	}, record.Visits[1])
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o640), info.Mode().Perm())
	files, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, files, 1, "nothing is left lying about")
	said := text(document(t, h, answer.Header().Get("Location"), http.StatusOK))
	assert.Contains(t, said, "Written into the record")
	assert.Contains(t, said, "flow rate ground 11.5 l/min", "shown at once")

	for range 3 {
		require.Equal(t, http.StatusSeeOther, post(h, "/plants/beech/visit", aVisit).Code)
	}
	record, err = site.Load(path)
	require.NoError(t, err)
	assert.Len(t, record.Visits, 5)
}

// TestVisitsIntoAnyRecord: whatever a record looks like, it stays what it was beside
// the visit, or is not touched.
func TestVisitsIntoAnyRecord(t *testing.T) {
	const plain = "id: beech\ntime_zone: UTC\n"
	for name, c := range map[string]struct {
		record string
		code   int
	}{
		"no visits yet":          {plain, http.StatusSeeOther},
		"no last line end":       {plain + "name: Beech", http.StatusSeeOther},
		"windows line ends":      {strings.ReplaceAll(beechRecord, "\n", "\r\n"), http.StatusSeeOther},
		"starter with examples":  {string(site.Template("beech", "UTC")), http.StatusSeeOther},
		"list at the margin":     {plain + "visits:\n- time: 2025-01-01T00:00:00Z\n  note: a\n", http.StatusSeeOther},
		"list far to the right":  {plain + "visits:\n      - time: 2025-01-01T00:00:00Z\n        note: a\nname: B\n", http.StatusSeeOther},
		"visits in one line":     {plain + "visits: [{time: 2025-01-01T00:00:00Z, note: a}]\n", http.StatusUnprocessableEntity},
		"all in one line":        {"{id: beech, time_zone: UTC}\n", http.StatusUnprocessableEntity},
		"a note of several rows": {plain + "visits:\n  - time: 2025-01-01T00:00:00Z\n    note: |\n      one\n\n      # two\n", http.StatusSeeOther},
	} {
		h, path := clinic(t, "beech", c.record)
		answer := post(h, "/plants/beech/visit", url.Values{"at": {"2026-01-15T09:10"}, "note": {"here"}, "flow_temp.0": {"31"}})
		assert.Equal(t, c.code, answer.Code, "%s: %s", name, answer.Body)
		written, err := os.ReadFile(path)
		require.NoError(t, err)
		if c.code != http.StatusSeeOther {
			assert.Equal(t, c.record, string(written), name)
			assert.Contains(t, answer.Body.String(), `value="31"`, "%s: the draft is kept", name)
			continue
		}
		assert.True(t, strings.HasPrefix(string(written), strings.TrimRight(c.record, "\r\n")) || name == "windows line ends" || name == "list far to the right", "%s: only added to\n%s", name, written)
		assert.Equal(t, strings.Contains(c.record, "\r\n"), strings.Contains(string(written), "\r\n"), name)
	}
}

func TestVisitMistakes(t *testing.T) {
	h, path := clinic(t, "beech", beechRecord)
	for name, c := range map[string]struct {
		change url.Values
		want   string
	}{
		"no number":        {url.Values{"flow_temp.0": {"warm"}}, "This is no number"},
		"impossible":       {url.Values{"room_temp/hall.0": {"210"}}, "210"},
		"no time":          {url.Values{"at": {""}}, "Write the time of the visit"},
		"still to come":    {url.Values{"at": {"2026-02-01T10:00"}}, "still to come"},
		"unknown channel":  {url.Values{"channel2": {"retrun_temp"}, "value2": {"3"}}, "return_temp"},
		"value of nothing": {url.Values{"value2": {"3"}}, "Say which channel"},
		"channel alone":    {url.Values{"channel2": {"flow_temp"}}, "Write its value"},
	} {
		sent := url.Values{}
		for _, of := range []url.Values{aVisit, c.change} {
			for key, value := range of {
				sent[key] = value
			}
		}
		answer := post(h, "/plants/beech/visit", sent)
		require.Equal(t, http.StatusUnprocessableEntity, answer.Code, name)
		doc, err := html.Parse(answer.Body)
		require.NoError(t, err)
		assert.Contains(t, text(doc), c.want, name)
		assert.Equal(t, "11.5", valueOf(doc, "flow_rate/ground.0"), "%s: the draft is kept", name)
		for key, value := range c.change {
			assert.Equal(t, value[0], valueOf(doc, key), name)
		}
		checkPage(t, name, doc)
	}
	answer := post(h, "/plants/beech/visit", url.Values{"at": {"2026-01-15T09:10"}})
	assert.Contains(t, answer.Body.String(), "Nothing was filled in")
	written, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, beechRecord, string(written))
}

func valueOf(doc *html.Node, name string) string {
	for _, input := range all(doc, "input") {
		if attribute(input, "name") == name {
			return attribute(input, "value")
		}
	}
	return "there is no field " + name
}

package web

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// linesOf returns the lines of the list by the address of their plant.
func linesOf(doc *html.Node) (order []string, lines map[string]*html.Node) {
	lines = map[string]*html.Node{}
	for _, row := range all(doc, "tr") {
		if id := attribute(row, "data-plant"); id != "" {
			order, lines[id] = append(order, id), row
		}
	}
	return order, lines
}

func cells(row *html.Node) map[string]string {
	found := map[string]string{}
	for _, td := range all(row, "td") {
		for _, class := range strings.Fields(attribute(td, "class")) {
			found[class] = text(td)
		}
	}
	return found
}

func TestFleetWorstFirst(t *testing.T) {
	doc := document(t, pages(t, nil), "/", http.StatusOK)
	order, lines := linesOf(doc)
	// Never heard of; silent for 31 h; three days of seven, equal to the
	// minute, so by name; whole.
	assert.Equal(t, []string{barn, fallen, hostile, london, checked}, order)
	assert.Contains(t, text(doc), worstFirst)
	assert.Contains(t, text(lines[barn]), "No readings yet")
	assert.Regexp(t, `Silent since Wed 14 Jan, 0(2:59|3:00)`, text(lines[fallen]), "31 h before 10:00")
	assert.Contains(t, text(lines[fallen]), "(31 h)")
	assert.Regexp(t, `(3\d|4\d) % of the last 7 days measured`, text(lines[london]))
}

// TestFleetFigures: expected.csv: 124.9 kWh and 32.3 kWh a day, SPF 3.87, 13
// starts and 7 defrosts a day, 98 % covered; at 10:00 the second run of the
// day has just ended (run_minutes list: 540, then 50 minutes from 09:10 on, see
// the logbook) after one start.
func TestFleetFigures(t *testing.T) {
	_, lines := linesOf(document(t, pages(t, nil), "/", http.StatusOK))
	c := cells(lines[checked])
	assert.Equal(t, "3.87", c["w4"])
	assert.Equal(t, "98 %", c["w6"])
	assert.Equal(t, "13.0 a day", c["w3"])
	assert.Equal(t, "49", c["w5"])
	assert.Regexp(t, `^87[45] kWh$`, c["w1"])
	assert.Equal(t, "226 kWh", c["w2"])
	assert.Equal(t, "1", c["t3"])
}

func TestFleetSearch(t *testing.T) {
	h := pages(t, nil)
	order, _ := linesOf(document(t, h, "/?q=FOX+lane", http.StatusOK))
	assert.Equal(t, []string{fallen}, order)
	order, _ = linesOf(document(t, h, "/?q=house", http.StatusOK))
	assert.Equal(t, []string{london, checked}, order)
	doc := document(t, h, "/?q="+url.QueryEscape(attack), http.StatusOK)
	assert.Equal(t, []string{hostile}, first(linesOf(doc)), "found by its name")
	doc = document(t, h, "/?q="+url.QueryEscape(`"><script>alert(1)</script>nothing`), http.StatusOK)
	assert.Contains(t, text(doc), "None of the 5 plants")
	assert.Len(t, all(doc, "script"), 1, "our own")
}

func first(order []string, _ map[string]*html.Node) []string { return order }

func TestEmptyFleet(t *testing.T) {
	doc := document(t, pages(t, func(o *Options) { o.Sites = func() []*site.Record { return nil } }), "/", http.StatusOK)
	assert.Contains(t, text(doc), "coldweek site new mill-cottage")
	w, err := theWorld()
	require.NoError(t, err)
	doc = document(t, pages(t, func(o *Options) { o.Sites = func() []*site.Record { return w.records[1:2] } }), "/", http.StatusOK)
	assert.Contains(t, text(doc), "No plant has sent a reading yet")
	assert.Contains(t, text(doc), "coldweek load mill-cottage history.csv.gz")
}

func TestLargeFleetHasSheets(t *testing.T) {
	var records []*site.Record
	for i := range 60 {
		r, err := site.Parse("r.yaml", fmt.Appendf(nil, "id: plant-%02d\ntime_zone: UTC\n", i))
		require.NoError(t, err)
		records = append(records, r)
	}
	h := pages(t, func(o *Options) { o.Sites = func() []*site.Record { return records } })
	seen := map[string]bool{}
	address := "/"
	for range 3 {
		doc := document(t, h, address, http.StatusOK)
		order, _ := linesOf(doc)
		for _, id := range order {
			assert.False(t, seen[id], "%s twice", id)
			seen[id] = true
		}
		address = ""
		for _, a := range all(doc, "a") {
			if attribute(a, "rel") == "next" {
				address = attribute(a, "href")
			}
		}
	}
	assert.Len(t, seen, 60)
	assert.Empty(t, address, "the third sheet is the last")
	assert.Equal(t, http.StatusNotFound, get(h, "/?sheet=4").Code)
	assert.Equal(t, http.StatusBadRequest, get(h, "/?sheet=-1").Code)
	assert.Equal(t, http.StatusBadRequest, get(h, "/?sheet=x").Code)
}

func TestConcerns(t *testing.T) {
	record := func(text string) *site.Record {
		r, err := site.Parse("r.yaml", []byte(text))
		require.NoError(t, err)
		return r
	}
	plain := record("id: a\ntime_zone: UTC\n")
	minimum := record("id: b\ntime_zone: UTC\nheat_pump: {minimum_flow_lph: 900}\ncommissioned: {flow_rate_lph: 1400}\n")
	commissioned := record("id: c\ntime_zone: UTC\ncommissioned: {flow_rate_lph: 1000}\n")
	judged := func(r *site.Record, startsPerD, runHours, flowLPH float64) standing {
		s := standing{record: r, Coverage: 1, lastSeen: clock}
		s.judge(r, startsPerD, runHours, flowLPH)
		return s
	}
	silentLong := standing{record: plain, Coverage: 1, lastSeen: clock, silentS: 7200}
	silentShort := standing{record: plain, Coverage: 1, lastSeen: clock, silentS: 1800}
	half := standing{record: plain, Coverage: 0.5, lastSeen: clock}
	short := judged(plain, 48, 8, 0)          // 10 minutes each
	few := judged(plain, 4, 0.5, 0)           // short, but only four a day
	low := judged(minimum, 4, 20, 720)        // 80 % of the minimum
	enough := judged(minimum, 4, 20, 950)     // above the minimum: enough
	lower := judged(commissioned, 4, 20, 560) // 56 % of the commissioned
	for _, pair := range [][2]standing{{silentLong, silentShort}, {silentShort, half}, {half, short}, {short, lower}, {lower, few}, {low, enough}} {
		assert.Negative(t, worse(pair[0], pair[1]), "%s before %s", pair[0].reason(), pair[1].reason())
		assert.Positive(t, worse(pair[1], pair[0]))
	}
	assert.Equal(t, "short runs, usually 10"+nbsp+"min", short.reason())
	assert.Equal(t, "low flow: 80"+nbsp+"% of what is needed", low.reason())
	assert.Equal(t, "low flow: 80"+nbsp+"% of what is needed", lower.reason(), "560 of 70 % of 1000 l/h")
	assert.Empty(t, few.reason())
	assert.Empty(t, enough.reason())
}

// TestLooksAreKept: asking twice within seconds reads nothing again; later it
// does.
func TestLooksAreKept(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	st := &counting{Store: w.store}
	now := clock
	h := pages(t, func(o *Options) {
		o.Store, o.Now = st, func() time.Time { return now }
	})
	get(h, "/")
	before := st.scans
	assert.Positive(t, before)
	get(h, "/")
	assert.Equal(t, before, st.scans)
	now = now.Add(lookLasts + time.Second)
	get(h, "/")
	assert.Greater(t, st.scans, before)
}

// stuck is a store whose disk never answers for one plant.
type stuck struct {
	Store
	id    string
	asked atomic.Int32
}

func (s *stuck) Scan(ctx context.Context, id string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	if id == s.id {
		s.asked.Add(1)
		<-ctx.Done()
		return nil, ctx.Err()
	}
	return nil, fmt.Errorf("scan %q: broken", id)
}

func (s *stuck) Extents(context.Context, string) ([]store.Extent, error) {
	return []store.Extent{{Channel: "power", First: clock.AddDate(0, 0, -9), Last: clock}}, nil
}

func (s *stuck) Findings(context.Context, string, time.Time, time.Time) ([]store.Finding, error) {
	return nil, nil
}

func (s *stuck) Days(context.Context, string, string, string) ([]store.Day, error) { return nil, nil }

// TestOneBadPlantSpoilsItsOwnLineOnly, in a bubble whose time is not real.
func TestOneBadPlantSpoilsItsOwnLineOnly(t *testing.T) {
	w, err := theWorld()
	require.NoError(t, err)
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		st := &stuck{id: london}
		h, err := New(Options{
			Store: st, Sites: func() []*site.Record { return w.records }, Now: func() time.Time { return clock },
			Logger: slog.New(slog.NewTextHandler(&log, nil)),
		})
		require.NoError(t, err)
		began := time.Now()
		doc := document(t, h, "/", http.StatusOK)
		assert.Equal(t, fleetPatience, time.Since(began), "the list waits no longer")
		assert.Positive(t, st.asked.Load())
		assert.Equal(t, 5, strings.Count(text(doc), tooLong))
		assert.Contains(t, text(doc), "5 of the plants below took too long to read")
		assert.Contains(t, log.String(), "broken", "what went wrong is logged")
		assert.NotContains(t, log.String(), "deadline", "what took long is not")
	})
}

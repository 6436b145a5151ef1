package web

import (
	"context"
	"encoding/csv"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// clock is when all pages of the tests are looked at.
var clock = time.Date(2026, 1, 15, 10, 0, 0, 0, time.UTC)

// The plants of the tests.
const (
	checked = "check-house"   // repeats testdata/telemetry/day.csv every day
	london  = "orchard-house" // simulated, Europe/London
	fallen  = "fox-lane-3"    // simulated, silent since the day before
	hostile = "hostile"       // its record tries to break out of the page
	barn    = "empty-barn"    // has never sent a reading
)

const attack = `</title><script>alert(1)</script>"'><img src=x onerror=alert(2)>` + "\u202e"

// world is a store with the plants' readings and their records.
type world struct {
	store   *local.Store
	records []*site.Record
}

var folder string

func TestMain(m *testing.M) {
	var err error
	if folder, err = os.MkdirTemp("", "coldweek-web-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(folder)
	os.Exit(code)
}

// theWorld is filled once for all tests.
var theWorld = sync.OnceValues(func() (world, error) {
	ctx := context.Background()
	st, err := local.Open(ctx, filepath.Join(folder, "store.db"), local.Options{Now: func() time.Time { return clock }})
	if err != nil {
		return world{}, err
	}
	w := world{store: st}
	err = w.fill(ctx)
	return w, err
})

func (w *world) fill(ctx context.Context) error {
	days, err := telemetryDays(checked, clock.AddDate(0, 0, -15).Truncate(24*time.Hour), clock)
	if err != nil {
		return err
	}
	if _, err := w.store.Append(ctx, days); err != nil {
		return err
	}
	if err := w.parse("id: check-house\nname: Check House\ntime_zone: UTC\ncommissioned: {flow_rate_lph: 1200}\nheat_pump: {minimum_flow_lph: 500}\n"); err != nil {
		return err
	}
	if err := w.parse("id: empty-barn\nname: Empty Barn\ntime_zone: Europe/London\n"); err != nil {
		return err
	}
	plant := rig.Houses()[0]
	plant.Metering.Interval = time.Minute
	if err := w.simulate(ctx, plant, clock); err != nil {
		return err
	}
	plant.ID, plant.Name = fallen, "Fox Lane 3"
	if err := w.simulate(ctx, plant, clock.Add(-31*time.Hour)); err != nil {
		return err
	}
	plant.ID, plant.Name = hostile, attack
	if err := w.simulate(ctx, plant, clock); err != nil {
		return err
	}
	evil := w.records[len(w.records)-1]
	evil.HeatPump.Maker, evil.HeatPump.Model = attack, attack
	var room []ingest.Reading
	for at := clock.AddDate(0, 0, -2); at.Before(clock); at = at.Add(time.Minute) {
		room = append(room, ingest.Reading{Site: hostile, Channel: "room_temp/<b>attic<b>", Time: at, Value: 19})
	}
	if _, err := w.store.Append(ctx, room); err != nil {
		return err
	}
	if err := w.notice(ctx); err != nil {
		return err
	}
	_, err = w.store.Seal(ctx, clock.Truncate(24*time.Hour))
	return err
}

// The findings of the check house: one that lasts, for information, and one that
// ended.
var (
	lasting = watch.Finding{
		Kind: "pump_idle", Severity: watch.Info, Since: clock.AddDate(0, 0, -3), AsOf: clock, Title: "The pump runs 9 hours a day for nothing",
		Evidence: []watch.Figure{{Name: "idle_h", Value: 9.1, Unit: "h", Decimals: 1}}, Causes: []string{"a pump set to run always"},
		Next: []string{"set the pump to follow the compressor"}, Basis: "common practice",
	}
	past = watch.Finding{
		Kind: "room_cold/attic", Severity: watch.Attention, Since: clock.AddDate(0, 0, -9), Until: clock.AddDate(0, 0, -8), AsOf: clock.AddDate(0, 0, -8),
		Title: attack, Evidence: []watch.Figure{{Name: "short_k", Value: 2, Unit: "K"}}, Causes: []string{attack}, Next: []string{attack}, Caution: attack, Basis: attack,
	}
)

func (w *world) notice(ctx context.Context) error {
	for _, f := range []watch.Finding{lasting, past} {
		kept, err := job.StoreFinding(checked, &f)
		if err == nil {
			err = w.store.PutFindings(ctx, []store.Finding{kept})
		}
		if err != nil {
			return err
		}
	}
	return w.store.AddAction(ctx, store.Action{Site: checked, Kind: past.Kind, At: past.Since.Add(time.Hour), Deed: store.Acknowledge, By: attack, Note: attack})
}

func (w *world) parse(record string) error {
	r, err := site.Parse("record.yaml", []byte(record))
	w.records = append(w.records, r)
	return err
}

// simulate stores three days of a simulated plant up to an instant.
func (w *world) simulate(ctx context.Context, plant rig.Plant, until time.Time) error {
	r, err := rig.New(plant, clock.AddDate(0, 0, -3))
	if err != nil {
		return err
	}
	var readings []ingest.Reading
	r.Advance(until, func(reading ingest.Reading) { readings = append(readings, reading) })
	w.records = append(w.records, plant.Record())
	_, err = w.store.Append(ctx, readings)
	return err
}

// telemetryDays repeats testdata/telemetry/day.csv, without its hidden truth,
// for every day.
func telemetryDays(id string, from, until time.Time) ([]ingest.Reading, error) {
	file, err := os.Open("../../testdata/telemetry/day.csv")
	if err != nil {
		return nil, err
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	if err != nil {
		return nil, err
	}
	var readings []ingest.Reading
	for midnight := from; midnight.Before(until); midnight = midnight.AddDate(0, 0, 1) {
		for _, row := range rows[1:] {
			s, err := strconv.Atoi(row[0])
			if err != nil {
				return nil, err
			}
			at := midnight.Add(time.Duration(s) * time.Second)
			if !at.Before(until) {
				break
			}
			for i, ch := range []ingest.Channel{"outdoor_temp", "flow_rate", "flow_temp", "return_temp", "power"} {
				value, err := strconv.ParseFloat(row[i+1], 64)
				if err != nil {
					return nil, err
				}
				readings = append(readings, ingest.Reading{Site: id, Channel: ch, Time: at, Value: value})
			}
		}
	}
	return readings, nil
}

func testOptions(w world) Options {
	return Options{
		Store: w.store, Sites: func() []*site.Record { return w.records },
		Now: func() time.Time { return clock }, Logger: slog.New(slog.DiscardHandler),
		Notes: tray{}, Drafts: tray{},
	}
}

// pages returns the handler over the world, with changes to its options.
func pages(t testing.TB, change func(*Options)) http.Handler {
	t.Helper()
	w, err := theWorld()
	require.NoError(t, err)
	o := testOptions(w)
	if change != nil {
		change(&o)
	}
	s, err := newServer(o)
	require.NoError(t, err)
	s.patience, s.answers.wait = time.Minute, time.Minute // how quick this machine is, is not tested
	return s.guarded()
}

// post sends a form from a page of the same host.
func post(h http.Handler, address string, fields url.Values, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://localhost"+address, strings.NewReader(fields.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// get asks for an address.
func get(h http.Handler, address string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, address, nil))
	return w
}

// document parses a page that must have the status.
func document(t testing.TB, h http.Handler, address string, status int) *html.Node {
	t.Helper()
	w := get(h, address)
	require.Equal(t, status, w.Code, "%s\n%s", address, w.Body)
	doc, err := html.Parse(w.Body)
	require.NoError(t, err)
	return doc
}

// all returns the elements of a kind in the order of the page.
func all(doc *html.Node, kind string) []*html.Node {
	var found []*html.Node
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && n.Data == kind {
			found = append(found, n)
		}
	}
	return found
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// text returns what is read in an element, with single spaces.
func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(strings.ReplaceAll(b.String(), nbsp, " ")), " ")
}

// figuresOf returns the figures of a plant's page by name.
func figuresOf(doc *html.Node) map[string]string {
	figures := map[string]string{}
	for _, dt := range all(doc, "dt") {
		if dd := dt.NextSibling; dd != nil && attribute(dd, "class") == "figure" {
			figures[text(dt)] = text(dd)
		}
	}
	return figures
}

// counting counts what is scanned.
type counting struct {
	Store
	mu    sync.Mutex
	scans int
}

func (c *counting) Scan(ctx context.Context, id string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	c.mu.Lock()
	c.scans++
	c.mu.Unlock()
	return c.Store.Scan(ctx, id, channels, from, to)
}

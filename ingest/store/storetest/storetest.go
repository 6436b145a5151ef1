// Package storetest holds any store.Store to its contract. Each check stands
// on a sentence of the contract, in the documentation of package store and of
// its interfaces; the random test compares with a plain map, which is the
// contract's own words as a program.
package storetest

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// Now is the time of the suite's clock: give it to the store if it has one.
var Now = time.Date(2026, 2, 10, 9, 30, 0, 0, time.UTC)

// Suite says how to get at a store.
type Suite struct {
	// Open returns an empty store, closed when the test ends.
	Open func(t *testing.T) store.Store

	// Reopen, when given, closes the store and opens it again.
	Reopen func(t *testing.T, s store.Store) store.Store

	// Maintain, when given, does what the store's upkeep does in the
	// background, such as packing days before the time given. It must not
	// change what is read.
	Maintain func(t *testing.T, s store.Store, before time.Time)

	// Away, when given, takes the machine that the store writes to out of
	// reach until comeBack is called.
	Away func(t *testing.T) (comeBack func())

	// Repeats says that the store cannot tell a repeated reading from a new
	// one: Append may count it, and the revision may grow with it.
	Repeats bool
}

// Run runs the suite on stores that open returns empty.
func Run(t *testing.T, open func(t *testing.T) store.Store) { Suite{Open: open}.Run(t) }

// Run runs every check, each on a store of its own.
func (s Suite) Run(t *testing.T) {
	checks := []struct {
		name  string
		check func(*harness)
	}{
		{"readings come back by channel in ascending time", readingsComeBack},
		{"the same reading twice changes nothing", repeats},
		{"a later value replaces the earlier", replaces},
		{"any age is accepted", anyAge},
		{"from is inclusive and to exclusive", edges},
		{"times count to the millisecond", milliseconds},
		{"an instant is the same in every time zone", timeZones},
		{"values come back exactly", exactValues},
		{"awkward names are kept apart", awkwardNames},
		{"what is not there is empty", nothingThere},
		{"an impossible reading fails the whole batch", impossibleReadings},
		{"a cancelled append leaves nothing", cancelled},
		{"a large unsorted batch", largeBatch},
		{"late readings of packed days", lateReadings},
		{"appends and scans side by side", sideBySide},
		{"random appends match a map", randomAppends},
		{"extents and sites", extents},
		{"revisions grow with every change", revisions},
		{"site days", siteDays},
		{"findings", findings},
		{"actions on findings", actions},
		{"a machine that goes away", away},
		{"quarantine", quarantine},
		{"all is there after opening again", reopened},
	}
	for _, c := range checks {
		t.Run(c.name, func(t *testing.T) {
			c.check(&harness{T: t, Assertions: require.New(t), suite: s, store: s.Open(t), ctx: t.Context()})
		})
	}
}

// harness is what a check works with.
type harness struct {
	*testing.T
	*require.Assertions
	suite Suite
	store store.Store
	ctx   context.Context
}

func (h *harness) append(batch ...ingest.Reading) int64 {
	h.T.Helper()
	changed, err := h.store.Append(h.ctx, batch)
	h.NoError(err)
	return changed
}

// changes appends a batch of which want readings are new or changed.
func (h *harness) changes(want int, batch ...ingest.Reading) {
	h.T.Helper()
	changed := h.append(batch...)
	if h.suite.Repeats {
		h.GreaterOrEqual(changed, int64(want))
		h.LessOrEqual(changed, int64(len(batch)))
		return
	}
	h.Equal(int64(want), changed)
}

// since checks the revision after an append that changed nothing.
func (h *harness) since(before, after int64, message ...any) {
	h.T.Helper()
	if h.suite.Repeats {
		h.GreaterOrEqual(after, before, message...)
		return
	}
	h.Equal(before, after, message...)
}

func (h *harness) maintain(before time.Time) {
	h.T.Helper()
	if h.suite.Maintain != nil {
		h.suite.Maintain(h.T, h.store, before)
	}
}

// scan returns one channel.
func (h *harness) scan(site string, channel ingest.Channel, from, to time.Time) ingest.Column {
	h.T.Helper()
	columns, err := h.store.Scan(h.ctx, site, []ingest.Channel{channel}, from, to)
	h.NoError(err)
	h.Len(columns, 1)
	h.Equal(channel, columns[0].Channel)
	h.Len(columns[0].Value, len(columns[0].UnixMS))
	return columns[0]
}

// all returns all of one channel.
func (h *harness) all(site string, channel ingest.Channel) ingest.Column {
	h.T.Helper()
	return h.scan(site, channel, time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC))
}

// holds checks that a column holds exactly the readings, in this order.
func (h *harness) holds(c ingest.Column, readings ...ingest.Reading) {
	h.T.Helper()
	times, values := make([]int64, len(readings)), make([]float64, len(readings))
	for i, r := range readings {
		times[i], values[i] = r.Time.UnixMilli(), r.Value
	}
	h.Equal(times, append([]int64{}, c.UnixMS...))
	h.Equal(values, append([]float64{}, c.Value...))
}

func (h *harness) revision(site string, from, to time.Time) int64 {
	h.T.Helper()
	revision, err := store.Revision(h.ctx, h.store, site, from, to)
	h.NoError(err)
	before, err := store.Revision(h.ctx, h.store, site, from.AddDate(0, 0, -1), from)
	h.NoError(err)
	together, err := h.store.Revisions(h.ctx, site, []store.Period{{From: from, To: to}, {From: to, To: from}, {From: from.AddDate(0, 0, -1), To: from}, {From: from, To: to}})
	h.NoError(err)
	h.Equal([]int64{revision, 0, before, revision}, together, "asked for at once")
	return revision
}

func reading(site string, channel ingest.Channel, at time.Time, value float64) ingest.Reading {
	return ingest.Reading{Site: site, Channel: channel, Time: at, Value: value}
}

// series returns n readings from a time on, every so often.
func series(site string, channel ingest.Channel, from time.Time, every time.Duration, n int) []ingest.Reading {
	readings := make([]ingest.Reading, n)
	for i := range readings {
		readings[i] = reading(site, channel, from.Add(time.Duration(i)*every), 20+float64(i%97)/10)
	}
	return readings
}

func readingsComeBack(h *harness) {
	noon := Now.AddDate(0, 0, -3)
	flow := series("moorhof", "flow_temp", noon, time.Minute, 5)
	room := series("moorhof", "room_temp/kitchen", noon, time.Minute, 3)
	mixed := append(slices.Clone(room), flow...)
	slices.SortFunc(mixed, func(a, b ingest.Reading) int { return cmp.Compare(a.Value, b.Value) })
	h.changes(8, mixed...)

	channels := []ingest.Channel{"room_temp/kitchen", "power", "flow_temp"}
	columns, err := h.store.Scan(h.ctx, "moorhof", channels, noon, noon.Add(time.Hour))
	h.NoError(err)
	h.Len(columns, 3)
	for i, channel := range channels {
		h.Equal(channel, columns[i].Channel, "columns come in the order asked for")
	}
	h.holds(columns[0], room...)
	h.Zero(columns[1].Len())
	h.holds(columns[2], flow...)
}

func repeats(h *harness) {
	batch := series("moorhof", "power", Now.AddDate(0, 0, -2), 10*time.Second, 1200)
	h.changes(1200, batch...)
	before := h.revision("moorhof", Now.AddDate(0, 0, -4), Now)
	for _, again := range [][]ingest.Reading{batch, batch[700:703], batch} {
		h.changes(0, again...)
		h.maintain(Now)
	}
	h.holds(h.all("moorhof", "power"), batch...)
	h.since(before, h.revision("moorhof", Now.AddDate(0, 0, -4), Now))
}

func replaces(h *harness) {
	at := Now.AddDate(0, 0, -1)
	h.changes(1, reading("moorhof", "power", at, 1), reading("moorhof", "power", at, 2))
	h.holds(h.all("moorhof", "power"), reading("moorhof", "power", at, 2))
	for _, value := range []float64{3, 2, 4} {
		h.changes(1, reading("moorhof", "power", at, value))
		h.holds(h.all("moorhof", "power"), reading("moorhof", "power", at, value))
		h.maintain(Now)
		h.holds(h.all("moorhof", "power"), reading("moorhof", "power", at, value))
	}
	h.changes(0, reading("moorhof", "power", at, 4))
}

func anyAge(h *harness) {
	var want []ingest.Reading
	for _, at := range []time.Time{
		time.Date(1969, 12, 31, 23, 59, 59, 999e6, time.UTC),
		time.Unix(0, 0),
		time.Date(2000, 2, 29, 12, 0, 0, 0, time.UTC),
		Now.AddDate(-10, 0, 0), Now.AddDate(0, 0, -1), Now, Now.Add(ingest.MaxAhead),
	} {
		want = append(want, reading("moorhof", "outdoor_temp", at, float64(len(want))))
	}
	backwards := slices.Clone(want)
	slices.Reverse(backwards)
	for _, r := range backwards {
		h.changes(1, r)
		h.maintain(Now)
	}
	h.holds(h.all("moorhof", "outdoor_temp"), want...)
}

func edges(h *harness) {
	midnight := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
	batch := series("moorhof", "power", midnight.Add(-2*time.Hour), time.Hour, 5)
	h.append(batch...)
	for range 2 {
		h.holds(h.scan("moorhof", "power", batch[1].Time, batch[3].Time), batch[1:3]...)
		h.holds(h.scan("moorhof", "power", batch[1].Time.Add(1), batch[3].Time.Add(1)), batch[2:4]...)
		h.holds(h.scan("moorhof", "power", midnight, midnight.Add(time.Millisecond)), batch[2])
		h.holds(h.scan("moorhof", "power", midnight, midnight))
		h.holds(h.scan("moorhof", "power", midnight.Add(time.Hour), midnight.Add(-time.Hour)))
		h.maintain(Now)
	}
}

func milliseconds(h *harness) {
	at := Now.AddDate(0, 0, -1)
	h.append(
		reading("moorhof", "power", at.Add(1200*time.Microsecond), 1),
		reading("moorhof", "power", at.Add(1900*time.Microsecond), 2),
		reading("moorhof", "power", at.Add(2*time.Millisecond), 3))
	h.holds(h.all("moorhof", "power"),
		reading("moorhof", "power", at.Add(time.Millisecond), 2),
		reading("moorhof", "power", at.Add(2*time.Millisecond), 3))
}

func timeZones(h *harness) {
	// Auckland was at +13:00 and Honolulu at -10:00 that day (IANA time zone
	// data), so all three stand for the same instant on three dates.
	utc := time.Date(2026, 1, 31, 23, 30, 0, 0, time.UTC)
	auckland, honolulu := time.FixedZone("NZDT", 13*3600), time.FixedZone("HST", -10*3600)
	h.append(reading("moorhof", "power", utc.In(auckland), 1))
	h.changes(0, reading("moorhof", "power", utc.In(honolulu), 1))
	h.changes(1, reading("moorhof", "power", utc, 2))
	h.holds(h.scan("moorhof", "power", utc.In(auckland), utc.Add(1).In(honolulu)), reading("moorhof", "power", utc, 2))

	// A local day of 25 hours: Europe/Berlin, 2025-10-26 (EU directive 2000/84/EC).
	start := time.Date(2025, 10, 26, 0, 0, 0, 0, time.FixedZone("CEST", 2*3600))
	end := time.Date(2025, 10, 27, 0, 0, 0, 0, time.FixedZone("CET", 3600))
	day := series("moorhof", "flow_temp", start.Add(-time.Hour), 30*time.Minute, 54)
	h.append(day...)
	h.maintain(Now)
	h.holds(h.scan("moorhof", "flow_temp", start, end), day[2:52]...)
}

func awkwardNames(h *harness) {
	sites := []string{
		"a", "a ", "A", "aa", "a/b", "a,b=c", `quo"te'`, "back\\slash", "per%cent_", "drop table site;--",
		"Käthes Höhe", "Ka\u0308thes Ho\u0308he", "山小屋", "trailing\\",
	}
	channels := []ingest.Channel{"room_temp", "room_temp/a", "room_temp/A", "room_temp/Küche", "room_temp/100%", "room_temp/x=y"}
	for i, site := range sites {
		for j, channel := range channels {
			h.append(reading(site, channel, Now.AddDate(0, 0, -1), float64(i*100+j)))
		}
	}
	h.maintain(Now)
	for i, site := range sites {
		for j, channel := range channels {
			h.holds(h.all(site, channel), reading(site, channel, Now.AddDate(0, 0, -1), float64(i*100+j)))
		}
	}
	got, err := h.store.Sites(h.ctx)
	h.NoError(err)
	slices.Sort(sites)
	h.Equal(sites, got)
}

func nothingThere(h *harness) {
	h.changes(0)
	sites, err := h.store.Sites(h.ctx)
	h.NoError(err)
	h.Empty(sites)
	h.Zero(h.all("nowhere", "power").Len())
	extents, err := h.store.Extents(h.ctx, "nowhere")
	h.NoError(err)
	h.Empty(extents)
	h.Zero(h.revision("nowhere", Now.AddDate(-1, 0, 0), Now))
	columns, err := h.store.Scan(h.ctx, "nowhere", nil, Now.AddDate(0, 0, -1), Now)
	h.NoError(err)
	h.Empty(columns)
}

func extents(h *harness) {
	h.append(series("zell", "power", Now.AddDate(0, 0, -1), time.Minute, 3)...)
	old := Now.AddDate(-1, 0, 0)
	for _, channel := range []ingest.Channel{"return_temp", "flow_temp", "room_temp/bath"} {
		h.append(series("moorhof", channel, old, time.Hour, 48)...)
	}
	h.maintain(Now.AddDate(0, 0, -30))
	h.append(reading("moorhof", "flow_temp", Now, 1))
	last := old.Add(47 * time.Hour)
	for range 2 {
		got, err := h.store.Extents(h.ctx, "moorhof")
		h.NoError(err)
		h.Len(got, 3)
		for i, want := range []store.Extent{
			{Channel: "flow_temp", First: old, Last: Now},
			{Channel: "return_temp", First: old, Last: last},
			{Channel: "room_temp/bath", First: old, Last: last},
		} {
			h.Equal(want.Channel, got[i].Channel)
			assert.True(h.T, want.First.Equal(got[i].First), "%s from %s", want.Channel, got[i].First)
			assert.True(h.T, want.Last.Equal(got[i].Last), "%s to %s", want.Channel, got[i].Last)
		}
		h.maintain(Now.AddDate(0, 0, 2))
	}
	sites, err := h.store.Sites(h.ctx)
	h.NoError(err)
	h.Equal([]string{"moorhof", "zell"}, sites)
}

func reopened(h *harness) {
	if h.suite.Reopen == nil {
		h.T.Skip("the suite does not say how to open this store again")
	}
	h.append(series("moorhof", "power", Now.AddDate(0, 0, -3), 10*time.Second, 30_000)...)
	h.NoError(h.store.PutDays(h.ctx, []store.Day{{Site: "moorhof", Date: "2026-02-01", Definition: 1, Revision: 1}}))
	h.NoError(h.store.Refuse(h.ctx, []ingest.Rejected{{Arrived: Now, Reason: ingest.BadTime}}))
	want, revision := h.all("moorhof", "power"), h.revision("moorhof", Now.AddDate(0, 0, -9), Now)
	for range 2 {
		h.store = h.suite.Reopen(h.T, h.store)
		h.Equal(want, h.all("moorhof", "power"))
		h.Equal(revision, h.revision("moorhof", Now.AddDate(0, 0, -9), Now))
		h.maintain(Now)
	}
	days, err := h.store.Days(h.ctx, "moorhof", "2026-02-01", "2026-02-02")
	h.NoError(err)
	h.Len(days, 1)
	refused, err := h.store.Refusals(h.ctx, 9)
	h.NoError(err)
	h.Len(refused, 1)
	h.changes(1, reading("moorhof", "power", Now, 1))
	h.Greater(h.revision("moorhof", Now.AddDate(0, 0, -1), Now.Add(1)), revision, fmt.Sprintf("after %d", revision))
}

package storetest

import (
	"bytes"
	"fmt"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

func revisions(h *harness) {
	day := time.Date(2026, 2, 2, 0, 0, 0, 0, time.UTC)
	span := func() int64 { return h.revision("moorhof", day, day.AddDate(0, 0, 1)) }
	far := func() int64 { return h.revision("moorhof", day.AddDate(0, 0, -9), day.AddDate(0, 0, -3)) }

	h.append(reading("moorhof", "power", day.Add(time.Hour), 1))
	last := span()
	h.Positive(last)
	h.Zero(far())
	for i, batch := range [][]ingest.Reading{
		{reading("moorhof", "power", day, 5)},                                  // new, at the edge
		{reading("moorhof", "power", day, 6)},                                  // another value
		{reading("moorhof", "power", day.AddDate(0, 0, 1).Add(-1e6), 6)},       // new, at the other edge
		{reading("moorhof", "flow_temp", day, 6)},                              // another channel
		series("moorhof", "power", day.Add(12*time.Hour), 10*time.Second, 600), // many
	} {
		h.append(batch...)
		h.Greater(span(), last, "batch %d", i)
		last = span()
		h.append(batch...)
		h.maintain(Now)
		h.since(last, span(), "batch %d again", i)
		last = span()
	}
	h.Zero(far(), "days far off have not changed")

	h.append(reading("zell", "power", day, 1))
	h.Equal(last, span(), "another site's reading")
	h.append(reading("moorhof", "power", day.AddDate(0, 0, -5), 1))
	h.Equal(last, span(), "a reading of another week")
	h.Positive(far())
	h.GreaterOrEqual(h.revision("moorhof", day.AddDate(0, 0, -9), day.AddDate(0, 0, 1)), last)
}

func siteDays(h *harness) {
	var days []store.Day
	for i := range 5 {
		days = append(days, store.Day{
			Site: "moorhof", Date: fmt.Sprintf("2026-01-%02d", 29+i), Definition: 3, Revision: int64(100 + i),
			Fields: map[string]float64{"net_kwh": 31.25 + float64(i), "coverage": 0.1 + 0.2, "outdoor_c": -7},
			Detail: bytes.Repeat([]byte{byte(i), 0, 0xff, '{'}, 1000*i),
		})
	}
	days[3].Date, days[4].Date = "2026-02-01", "2026-02-02"
	days[1].Fields = nil
	other := store.Day{Site: "zell", Date: "2026-01-30", Detail: []byte("other")}
	h.NoError(h.store.PutDays(h.ctx, []store.Day{days[4], days[0], other, days[2], days[1], days[3]}))
	h.NoError(h.store.PutDays(h.ctx, nil))

	read := func(from, to string) []store.Day {
		h.T.Helper()
		got, err := h.store.Days(h.ctx, "moorhof", from, to)
		h.NoError(err)
		return got
	}
	check := func(want []store.Day, got []store.Day) {
		h.T.Helper()
		h.Len(got, len(want))
		for i := range want {
			h.Equal(len(want[i].Fields), len(got[i].Fields))
			h.True(bytes.Equal(want[i].Detail, got[i].Detail))
			if len(want[i].Fields) > 0 {
				h.Equal(want[i].Fields, got[i].Fields)
			}
			w, g := want[i], got[i]
			w.Fields, w.Detail, g.Fields, g.Detail = nil, nil, nil, nil
			h.Equal(w, g)
		}
	}
	check(days, read("2026-01-01", "2027-01-01"))
	check(days[1:3], read("2026-01-30", "2026-02-01"))
	check(nil, read("2026-01-30", "2026-01-30"))
	check(nil, read("2027-01-01", "2028-01-01"))

	days[2].Revision, days[2].Definition, days[2].Fields, days[2].Detail = 900, 4, map[string]float64{"net_kwh": 1}, nil
	h.NoError(h.store.PutDays(h.ctx, days[2:3]))
	check(days, read("2026-01-01", "2027-01-01"))

	sites, err := h.store.Sites(h.ctx)
	h.NoError(err)
	h.Empty(sites, "a site day is no reading")
	h.Error(h.store.PutDays(h.ctx, []store.Day{{Site: "moorhof", Date: "1 February"}}))
}

func findings(h *harness) {
	at := func(minutes int) time.Time { return Now.Add(time.Duration(minutes) * time.Minute) }
	held := []store.Finding{
		{Site: "moorhof", Kind: "low_flow/north, upper", Since: at(-600), Until: at(-500), Severity: store.Attention,
			Fields: map[string]float64{"flow_lph": 0.1 + 0.2, "minimum_lph": 700}, Detail: bytes.Repeat([]byte{0, 0xff, '"'}, 40_000)},
		{Site: "moorhof", Kind: "sensor_stuck/room_temp", Since: at(-600), Severity: store.Info},
		{Site: "moorhof", Kind: "silent", Since: at(-60).Add(7 * time.Millisecond), Until: at(-60).Add(7 * time.Millisecond), Severity: store.Urgent},
		{Site: "moorhof", Kind: "low_flow/north, upper", Since: at(-30), Severity: store.Urgent, Fields: map[string]float64{"flow_lph": 400}},
	}
	other := store.Finding{Site: "zell", Kind: "silent", Since: at(-30), Severity: store.Info}
	h.NoError(h.store.PutFindings(h.ctx, nil))
	h.NoError(h.store.PutFindings(h.ctx, []store.Finding{held[2], held[0], other}))
	h.NoError(h.store.PutFindings(h.ctx, []store.Finding{held[3], held[1]}))
	read := func(from, to time.Time, want ...store.Finding) {
		h.T.Helper()
		got, err := h.store.Findings(h.ctx, "moorhof", from, to)
		h.NoError(err)
		h.Len(got, len(want))
		for i, w := range want {
			g := got[i]
			h.True(w.Since.Equal(g.Since), "%s since %s", g.Kind, g.Since)
			h.True(w.Until.Equal(g.Until), "%s until %s", g.Kind, g.Until)
			h.True(bytes.Equal(w.Detail, g.Detail))
			h.Equal(len(w.Fields), len(g.Fields))
			for name, value := range w.Fields {
				h.Equal(value, g.Fields[name], name)
			}
			h.Equal([]any{w.Site, w.Kind, w.Severity}, []any{g.Site, g.Kind, g.Severity})
		}
	}
	read(at(-1000), at(1), held...)
	read(at(-499), at(1), held[1], held[2], held[3])
	read(at(-500), at(1), held[1], held[2], held[3])
	read(at(-501), at(-60), held[0], held[1])
	read(at(-60), at(-30), held[1], held[2])
	read(at(-10), at(0), held[1], held[3])
	read(at(-1000), at(-600))

	held[3].Until, held[3].Severity, held[3].Fields = at(-5), store.Attention, map[string]float64{"minimum_lph": 700}
	held[0].Until, held[0].Detail, held[0].Fields = time.Time{}, nil, nil
	h.NoError(h.store.PutFindings(h.ctx, []store.Finding{held[0], held[3]}))
	read(at(-1000), at(1), held...)
	read(at(0), at(1), held[0], held[1])

	got, err := h.store.Findings(h.ctx, "nowhere", at(-1000), at(1))
	h.NoError(err)
	h.Empty(got)
	for _, bad := range []store.Finding{
		{Kind: "silent", Since: at(0), Severity: store.Info},
		{Site: "moorhof", Since: at(0), Severity: store.Info},
		{Site: "moorhof", Kind: "silent", Severity: store.Info},
		{Site: "moorhof", Kind: "silent", Since: at(0), Severity: "grave"},
		{Site: "moorhof", Kind: "silent", Since: at(0), Until: at(-1), Severity: store.Info},
	} {
		h.Error(h.store.PutFindings(h.ctx, []store.Finding{other, bad}))
	}
}

func actions(h *harness) {
	acts := []store.Action{
		{Site: "moorhof", Kind: "low_flow", At: Now.Add(-time.Hour), Deed: store.Acknowledge, By: "Käthe \"K\"", Note: "strainer, 2\nlines; 100 %\\"},
		{Site: "moorhof", Kind: "low_flow", At: Now.Add(-time.Minute), Deed: store.Mute, Until: Now.Add(48 * time.Hour)},
		{Site: "moorhof", Kind: "silent", At: Now.Add(-time.Minute), Deed: store.Remark},
	}
	for _, i := range []int{2, 0, 1} {
		h.NoError(h.store.AddAction(h.ctx, acts[i]))
	}
	h.NoError(h.store.AddAction(h.ctx, store.Action{Site: "zell", Kind: "silent", At: Now, Deed: store.Unmute}))
	got, err := h.store.Actions(h.ctx, "moorhof")
	h.NoError(err)
	h.Len(got, 3)
	for i, want := range acts {
		h.True(want.At.Equal(got[i].At))
		h.True(want.Until.Equal(got[i].Until))
		h.Equal([]any{want.Site, want.Kind, want.Deed, want.By, want.Note}, []any{got[i].Site, got[i].Kind, got[i].Deed, got[i].By, got[i].Note})
	}
	got, err = h.store.Actions(h.ctx, "nowhere")
	h.NoError(err)
	h.Empty(got)
	h.Error(h.store.AddAction(h.ctx, store.Action{Site: "moorhof", Kind: "low_flow", Deed: store.Mute}))
	h.Error(h.store.AddAction(h.ctx, store.Action{Site: "moorhof", Kind: "low_flow", At: Now, Deed: "wipe"}))
}

// away takes the machine of a store that has one out of reach: readings are
// taken in all the same, and what cannot be read is an error, not an empty answer.
func away(h *harness) {
	if h.suite.Away == nil {
		h.T.Skip("this store needs no other machine")
	}
	want := series("moorhof", "power", Now.AddDate(0, 0, -1), 10*time.Second, 3000)
	h.append(want[:1000]...)
	h.NoError(h.store.PutFindings(h.ctx, []store.Finding{{Site: "moorhof", Kind: "silent", Since: Now, Severity: store.Info}}))
	comeBack := h.suite.Away(h.T)
	h.append(want[1000:2000]...)
	h.append(want[500:1500]...)
	_, err := h.store.Scan(h.ctx, "moorhof", []ingest.Channel{"power"}, Now.AddDate(0, 0, -2), Now)
	h.Error(err)
	_, err = h.store.Extents(h.ctx, "moorhof")
	h.Error(err)
	_, err = h.store.Sites(h.ctx)
	h.Error(err)
	_, err = h.store.Days(h.ctx, "moorhof", "2026-01-01", "2027-01-01")
	h.Error(err)
	_, err = h.store.Findings(h.ctx, "moorhof", Now.AddDate(0, 0, -1), Now)
	h.Error(err)
	h.Error(h.store.PutDays(h.ctx, []store.Day{{Site: "moorhof", Date: "2026-02-01"}}))
	if h.suite.Reopen != nil {
		h.store = h.suite.Reopen(h.T, h.store)
	}
	h.append(want[1999:2500]...)
	comeBack()
	h.append(want[2500:]...)
	h.holds(h.all("moorhof", "power"), want...)
	h.Positive(h.revision("moorhof", Now.AddDate(0, 0, -2), Now))
	got, err := h.store.Findings(h.ctx, "moorhof", Now.AddDate(0, 0, -1), Now.Add(1e9))
	h.NoError(err)
	h.Len(got, 1)
}

func quarantine(h *harness) {
	items := []ingest.Rejected{
		{Arrived: Now, Site: "moorhof", Topic: "coldweek/moorhof/power", Reason: ingest.ImpossibleValue, Detail: "1e9 W", Payload: []byte("1e9")},
		{Arrived: Now.Add(time.Millisecond), Topic: "x/\x00\xff", Reason: ingest.UnknownTopic, Payload: []byte{0, 1, 0xff}},
		{Arrived: Now.Add(2 * time.Millisecond), Topic: "y", Reason: ingest.UnknownTopic},
	}
	h.NoError(h.store.Refuse(h.ctx, items[:1]))
	h.NoError(h.store.Refuse(h.ctx, nil))
	h.NoError(h.store.Refuse(h.ctx, items[1:]))

	got, err := h.store.Refusals(h.ctx, 10)
	h.NoError(err)
	h.Len(got, 3)
	for i, want := range []ingest.Rejected{items[2], items[1], items[0]} {
		h.True(want.Arrived.Equal(got[i].Arrived))
		h.True(bytes.Equal(want.Payload, got[i].Payload))
		w, g := want, got[i].Rejected
		w.Arrived, w.Payload, g.Arrived, g.Payload = time.Time{}, nil, time.Time{}, nil
		h.Equal(w, g)
		if i > 0 {
			h.Less(got[i].ID, got[i-1].ID, "newest first")
		}
	}
	got, err = h.store.Refusals(h.ctx, 1)
	h.NoError(err)
	h.Len(got, 1)
	h.Equal("y", got[0].Topic)

	counts, err := h.store.RefusalCounts(h.ctx)
	h.NoError(err)
	h.ElementsMatch([]store.QuarantineCount{
		{Reason: ingest.ImpossibleValue, Total: 1, Kept: 1},
		{Reason: ingest.UnknownTopic, Total: 2, Kept: 2},
	}, counts)
}

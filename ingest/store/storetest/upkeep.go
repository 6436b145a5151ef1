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
		h.Equal(last, span(), "batch %d again", i)
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

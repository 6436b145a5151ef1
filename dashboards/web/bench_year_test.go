package web

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// yearPages serves plants that have been watched for a year: one simulated with a
// reading a minute, the others with its days and the readings of its last day. In
// short mode there are two, with a fifth of the year.
func yearPages(b *testing.B) (http.Handler, *local.Store, []*site.Record, int) {
	b.Helper()
	plants, days := 50, 365
	if testing.Short() {
		plants, days = 2, 73
	}
	ctx := context.Background()
	now := func() time.Time { return clock }
	st, err := local.Open(ctx, filepath.Join(b.TempDir(), "store.db"), local.Options{Now: now})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, st.Close()) })
	first := rig.Houses()[0]
	first.Metering.Interval = time.Minute
	last := simulateYear(b, st, first, days)
	today := dayOf(clock.In(first.Record().Zone()))
	w := job.Window{From: daysOn(today, -days), To: today}
	_, err = job.Days(ctx, st, first.Record(), w, nil)
	require.NoError(b, err)
	kept, err := st.Days(ctx, first.ID, w.From.Format(dateLayout), w.To.Format(dateLayout))
	require.NoError(b, err)
	records := []*site.Record{first.Record()}
	for i := 1; i < plants; i++ {
		plant := first
		plant.ID = fmt.Sprintf("plant-%d", i)
		records = append(records, plant.Record())
		copyYear(b, st, plant.ID, kept, last)
	}
	return patientPages(b, st, records), st, records, days
}

// patientPages wait until an answer is made.
func patientPages(b *testing.B, st *local.Store, records []*site.Record) http.Handler {
	b.Helper()
	s, err := newServer(Options{Store: st, Sites: func() []*site.Record { return records }, Now: func() time.Time { return clock }, Logger: slog.New(slog.DiscardHandler),
		Watched: func(string, time.Time, time.Time) (bool, error) { return true, nil }})
	require.NoError(b, err)
	s.answers.wait = time.Minute
	return s.guarded()
}

// simulateYear stores a plant's readings and returns those of the last days.
func simulateYear(b *testing.B, st *local.Store, plant rig.Plant, days int) (last []ingest.Reading) {
	b.Helper()
	r, err := rig.New(plant, clock.AddDate(0, 0, -days-1))
	require.NoError(b, err)
	var batch []ingest.Reading
	flush := func() {
		_, err := st.Append(context.Background(), batch)
		require.NoError(b, err)
		batch = batch[:0]
	}
	r.Advance(clock, func(reading ingest.Reading) {
		if batch = append(batch, reading); len(batch) == 20_000 {
			flush()
		}
		if clock.Sub(reading.Time) < 34*time.Hour {
			last = append(last, reading)
		}
	})
	flush()
	return last
}

// copyYear gives a plant another's days, as of its own readings.
func copyYear(b *testing.B, st *local.Store, id string, kept []store.Day, last []ingest.Reading) {
	b.Helper()
	ctx := context.Background()
	for i := range last {
		last[i].Site = id
	}
	_, err := st.Append(ctx, append([]ingest.Reading{{Site: id, Channel: "power", Time: clock.AddDate(-1, 0, -2), Value: 1}}, last...))
	require.NoError(b, err)
	own := make([]store.Day, len(kept))
	for i, d := range kept {
		own[i] = d
		own[i].Site = id
		at := parseDate(d.Date, time.UTC)
		// The margins that a day takes beside it, see analysis/job.
		own[i].Revision, err = store.Revision(ctx, st, id, at.Add(-beforeWindow), daysOn(at, 1).Add(afterWindow))
		require.NoError(b, err)
	}
	require.NoError(b, st.PutDays(ctx, own))
}

// BenchmarkYear: every page, of one of 50 plants that have been watched for a year:
// the first time after a start that anybody asks for it, and again.
func BenchmarkYear(b *testing.B) {
	h, st, records, days := yearPages(b)
	last := fmt.Sprintf("?last=%d", days)
	from := func(before int) string {
		return fmt.Sprintf("?from=%s&to=%s", daysOn(clock, -before).Format(dateLayout), clock.Format(dateLayout))
	}
	for _, p := range []struct{ name, address string }{
		{"fleet", "/"}, {"inbox", "/findings?state=all"}, {"intake", "/intake"}, {"notes", "/notes"},
		{"energy_year", "/plants/plant-1/energy" + last}, {"house_year", "/plants/plant-1/house" + last}, {"running_year", "/plants/plant-1/running" + last},
		{"hydraulics_year", "/plants/plant-1/hydraulics" + last}, {"hot_water_year", "/plants/plant-1/hot-water" + last},
		{"sensors", "/plants/plant-1/sensors"}, {"record", "/plants/plant-1/record"}, {"visit", "/plants/plant-1/visit"},
		{"trace_year", "/plants/plant-1" + from(days)},
		{"trace_quarter", "/plants/" + records[0].ID + from(days/4)},
		{"trace_15_days", "/plants/" + records[0].ID + from(15)},
		{"trace_week", "/plants/" + records[0].ID + from(7)},
		{"trace_day", "/plants/" + records[0].ID + from(1)},
		{"house_month", "/plants/" + records[0].ID + "/house?last=30"},
		{"review", "/plants/" + records[0].ID + "/review"},
		{"review_month", "/plants/" + records[0].ID + "/review" + from(31)},
		{"findings", "/plants/" + records[0].ID + "/findings"},
	} {
		b.Run(p.name+"/first", func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				fresh := patientPages(b, st, records)
				b.StartTimer()
				require.Equal(b, http.StatusOK, get(fresh, p.address).Code)
			}
		})
		b.Run(p.name+"/again", func(b *testing.B) { benchmarkPage(b, h, p.address) })
	}
}

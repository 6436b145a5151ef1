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

	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

// fleetPages serves simulated plants with two weeks of readings every 10 s,
// past days sealed.
func fleetPages(b *testing.B, plants int) http.Handler {
	b.Helper()
	ctx := context.Background()
	now := func() time.Time { return clock }
	st, err := local.Open(ctx, filepath.Join(b.TempDir(), "store.db"), local.Options{Now: now})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, st.Close()) })
	r, err := rig.New(rig.Houses()[0], clock.AddDate(0, 0, -15))
	require.NoError(b, err)
	var readings []ingest.Reading
	r.Advance(clock, func(reading ingest.Reading) { readings = append(readings, reading) })
	var records []*site.Record
	for i := range plants {
		plant := rig.Houses()[0]
		plant.ID = fmt.Sprintf("plant-%d", i)
		records = append(records, plant.Record())
		for j := range readings {
			readings[j].Site = plant.ID
		}
		_, err = st.Append(ctx, readings)
		require.NoError(b, err)
	}
	_, err = st.Seal(ctx, clock.Truncate(24*time.Hour))
	require.NoError(b, err)
	h, err := New(Options{Store: st, Sites: func() []*site.Record { return records }, Now: now, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(b, err)
	return h
}

func benchmarkPage(b *testing.B, h http.Handler, address string) {
	require.Equal(b, http.StatusOK, get(h, address).Code) // the days are in the store from here on
	bytes := 0
	for b.Loop() {
		bytes = get(h, address).Body.Len()
	}
	b.ReportMetric(float64(bytes), "bytes/page")
}

func BenchmarkPlant(b *testing.B) {
	h := fleetPages(b, 1)
	for name, query := range map[string]string{
		"day":        "?day=2026-01-12",
		"today":      "?day=2026-01-15",
		"three_hour": "?from=2026-01-12T03:00&to=2026-01-12T06:00",
		"week":       "?from=2026-01-05&to=2026-01-12",
		"two_weeks":  "?from=2026-01-01&to=2026-01-15",
	} {
		b.Run(name, func(b *testing.B) { benchmarkPage(b, h, "/plants/plant-0"+query) })
	}
}

func BenchmarkFleet(b *testing.B) {
	h := fleetPages(b, 6)
	b.Run("looked_at", func(b *testing.B) { benchmarkPage(b, h, "/") })
}

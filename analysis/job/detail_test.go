package job

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// TestADayComesBackAsItWasKept: every figure, time and zone of simulated days,
// with gaps and defrosts, over a change of the clocks.
func TestADayComesBackAsItWasKept(t *testing.T) {
	for seed := range uint64(4) {
		plant := rig.Random(seed + 1)
		plant.TimeZone = "Europe/Berlin"
		plant.Metering.Interval = time.Minute
		record := plant.Record()
		w := Window{From: StartOfDay(2026, 3, 27, record.Zone()), To: StartOfDay(2026, 3, 31, record.Zone())}
		played, err := rig.New(plant, w.From.Add(-marginBefore))
		require.NoError(t, err)
		columns := without(played.Columns(w.To.Add(marginAfter)), w.From.Add(30*time.Hour), w.From.Add(33*time.Hour))
		r, err := readerOf(record)
		require.NoError(t, err)
		for _, d := range w.days() {
			day := r.compute(columns, d)
			require.NotEmpty(t, day.Sums.Hours)
			kept, err := (&storedDay{Settings: r.settings, Day: day}).pack()
			require.NoError(t, err)
			var back storedDay
			require.NoError(t, back.unpack(kept, record.Zone()))
			assert.Equal(t, text(t, storedDay{Settings: r.settings, Day: day}), text(t, back), "%s of seed %d", d.date, seed+1)
			assert.Equal(t, record.Zone(), back.Day.Sums.Hours[0].From.Location())
		}
	}
}

func text(t *testing.T, day storedDay) string {
	t.Helper()
	text, err := json.Marshal(day)
	require.NoError(t, err)
	return string(text)
}

// without leaves the readings of a time out.
func without(columns []ingest.Column, from, to time.Time) []ingest.Column {
	for k := range columns {
		left := ingest.Column{Channel: columns[k].Channel}
		for i, ms := range columns[k].UnixMS {
			if ms < from.UnixMilli() || ms >= to.UnixMilli() {
				left.UnixMS, left.Value = append(left.UnixMS, ms), append(left.Value, columns[k].Value[i])
			}
		}
		columns[k] = left
	}
	return columns
}

// FuzzDamagedDetail: what is no day is an error, or a day of other settings.
func FuzzDamagedDetail(f *testing.F) {
	day := storedDay{Settings: "settings"}
	kept, err := day.pack()
	require.NoError(f, err)
	f.Add(kept)
	f.Add(packer.EncodeAll([]byte(`{"settings":"3f0a","day":{"date":"2026-01-31"}}`), nil))
	f.Add(packer.EncodeAll([]byte{0xbb, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, nil)) // a map of 2^64-1 pairs
	f.Fuzz(func(t *testing.T, detail []byte) {
		var s storedDay
		_ = s.unpack(detail, time.UTC)
		_ = s.unpack(packer.EncodeAll(detail, nil), time.UTC)
	})
}

// BenchmarkUnpack reads a winter's day as it is kept.
func BenchmarkUnpack(b *testing.B) {
	plant := rig.Houses()[0]
	plant.Metering.Interval, plant.Step = time.Minute, 3*time.Second
	record := plant.Record()
	w := Window{From: StartOfDay(2025, 1, 1, record.Zone()), To: StartOfDay(2025, 1, 8, record.Zone())}
	played, err := rig.New(plant, w.From)
	require.NoError(b, err)
	r, err := readerOf(record)
	require.NoError(b, err)
	days := w.days()
	kept, err := (&storedDay{Settings: r.settings, Day: r.compute(played.Columns(w.To), days[len(days)-1])}).pack()
	require.NoError(b, err)
	b.ReportAllocs()
	b.ReportMetric(float64(len(kept)), "bytes/day")
	for b.Loop() {
		var back storedDay
		require.NoError(b, back.unpack(kept, record.Zone()))
	}
}

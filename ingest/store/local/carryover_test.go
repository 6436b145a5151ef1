package local_test

import (
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/local"
)

// TestRowsOfAReadingEachAreCarriedOver opens a file of version 2. What it was
// filled with: 144 readings of two channels, then sealed; of that day one late
// reading that replaces one and one of a third channel; 12 messages of the next
// day; and a reading of another site.
func TestRowsOfAReadingEachAreCarriedOver(t *testing.T) {
	former, err := os.ReadFile("testdata/version2.sql")
	require.NoError(t, err)
	path := newPath(t)
	tamper(t, path, string(former))
	s := open(t, path, local.Options{Now: func() time.Time { return year2025.Add(36 * time.Hour) }})
	checkCarriedOver(t, s)
	assert.Equal(t, 27, s.InRows(t))
	assert.Equal(t, "0", s.Ask("SELECT count(*) FROM sqlite_schema WHERE name = 'fresh_by_series'"))

	again := []ingest.Reading{
		{Site: "moorhof", Channel: "flow_temp", Time: year2025.Add(24 * time.Hour), Value: 21.37},
		{Site: "moorhof", Channel: "power", Time: year2025.Add(10 * time.Minute), Value: 5},
	}
	changed, err := s.Append(t.Context(), again)
	require.NoError(t, err)
	assert.Zero(t, changed)

	_, err = s.Seal(t.Context(), year2025.AddDate(0, 0, 3))
	require.NoError(t, err)
	assert.Zero(t, s.InRows(t))
	checkCarriedOver(t, s)
	require.NoError(t, s.Close())
	checkCarriedOver(t, open(t, path, local.Options{}))
}

func checkCarriedOver(t *testing.T, s *local.Store) {
	t.Helper()
	want := []ingest.Column{{Channel: "flow_temp"}, {Channel: "power"}, {Channel: "room_temp/attic"}}
	add := func(i int, at time.Time, value float64) {
		want[i].UnixMS, want[i].Value = append(want[i].UnixMS, at.UnixMilli()), append(want[i].Value, value)
	}
	for n := range 144 {
		at := year2025.Add(time.Duration(n) * 10 * time.Minute)
		add(0, at, float64(n)/10)
		add(1, at, float64(1000+n))
	}
	want[1].Value[1] = 5
	add(2, year2025.Add(time.Hour), math.Copysign(0, -1))
	for n := range 12 {
		at := year2025.AddDate(0, 0, 1).Add(time.Duration(n) * 10 * time.Second)
		add(0, at, 21.37+float64(n))
		add(1, at, float64(n))
	}
	columns, err := s.Scan(t.Context(), "moorhof", []ingest.Channel{"flow_temp", "power", "room_temp/attic"}, year2025, year2025.AddDate(0, 0, 2))
	require.NoError(t, err)
	require.Equal(t, want, columns)
	assert.True(t, math.Signbit(columns[2].Value[0]))

	extents, err := s.Extents(t.Context(), "moorhof")
	require.NoError(t, err)
	for i, e := range extents {
		assert.Equal(t, want[i].Channel, e.Channel)
		assert.Equal(t, []int64{want[i].UnixMS[0], want[i].UnixMS[want[i].Len()-1]}, []int64{e.First.UnixMilli(), e.Last.UnixMilli()})
	}
	columns, err = s.Scan(t.Context(), "birkenweg", []ingest.Channel{"outdoor_temp"}, year2025.AddDate(-60, 0, 0), year2025)
	require.NoError(t, err)
	require.Equal(t, []ingest.Column{{Channel: "outdoor_temp", UnixMS: []int64{-1}, Value: []float64{0.1}}}, columns)
	revision, err := store.Revision(t.Context(), s, "moorhof", year2025, year2025.AddDate(0, 0, 2))
	require.NoError(t, err)
	assert.Equal(t, int64(314), revision)
}

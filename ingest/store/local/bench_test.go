package local_test

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/store/local"
)

// The design's aim is 1.3 bytes a reading, everything in the file included.
func TestTheRigsReadingsTakeLittleRoom(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates three houses")
	}
	for _, plant := range rig.Houses() {
		t.Run(plant.ID, func(t *testing.T) {
			t.Parallel()
			takesLittleRoom(t, plant)
		})
	}
}

func takesLittleRoom(t *testing.T, plant rig.Plant) {
	path := newPath(t)
	s := open(t, path, asRows)
	r, err := rig.New(plant, year2025)
	require.NoError(t, err)
	var readings []ingest.Reading
	r.Advance(year2025.AddDate(0, 0, 2), func(reading ingest.Reading) {
		reading.Site = "moorhof"
		readings = append(readings, reading)
	})
	_, err = s.Append(t.Context(), readings)
	require.NoError(t, err)
	asRowsSize := sizeOf(t, s, path)
	s = open(t, path, asRows)
	_, err = s.Seal(t.Context(), suiteNow())
	require.NoError(t, err)
	perReading := sizeOf(t, s, path) / float64(len(readings))
	t.Logf("%d readings, %.1f bytes as a row, %.2f sealed", len(readings), asRowsSize/float64(len(readings)), perReading)
	assert.LessOrEqual(t, perReading, 1.3)
}

// sizeOf closes the store and returns the file's size in bytes.
func sizeOf(t testing.TB, s *local.Store, path string) float64 {
	t.Helper()
	require.NoError(t, s.Close())
	info, err := os.Stat(path)
	require.NoError(t, err)
	return float64(info.Size())
}

func perSecond(b *testing.B, readings int) {
	b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
}

// BenchmarkAppendRows appends live readings: of 50 sites, 80 each at a time.
func BenchmarkAppendRows(b *testing.B) {
	path := newPath(b)
	s := open(b, path, asRows)
	const sites, each = 50, 80
	day := plantDay("", 0)
	n := 0
	for i := 0; b.Loop(); i++ {
		part := i % (len(day) / each)
		shift := time.Duration(i/(len(day)/each)) * 24 * time.Hour
		batch := make([]ingest.Reading, 0, sites*each)
		for site := range sites {
			for _, r := range day[part*each : (part+1)*each] {
				r.Site, r.Time = fmt.Sprint("site ", site), r.Time.Add(shift)
				batch = append(batch, r)
			}
		}
		changed, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
		require.Equal(b, int64(len(batch)), changed)
		n += len(batch)
	}
	perSecond(b, n)
	b.ReportMetric(sizeOf(b, s, path)/float64(n), "bytes/reading")
}

// BenchmarkAppendBlocks appends history, a day of a site at a time.
func BenchmarkAppendBlocks(b *testing.B) {
	path := newPath(b)
	s := open(b, path, local.Options{})
	simulated()
	n := 0
	for day := 0; b.Loop(); day++ {
		batch := plantDay(fmt.Sprint("site ", day/365), day%365)
		_, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
		n += len(batch)
	}
	perSecond(b, n)
	b.ReportMetric(sizeOf(b, s, path)/float64(n), "bytes/reading")
}

// BenchmarkSeal packs days of rows.
func BenchmarkSeal(b *testing.B) {
	simulated()
	n := 0
	for b.Loop() {
		b.StopTimer()
		s := open(b, newPath(b), asRows)
		fill(b, s, 1)
		b.StartTimer()
		report, err := s.Seal(b.Context(), suiteNow())
		require.NoError(b, err)
		n += int(report.Readings)
	}
	perSecond(b, n)
}

// scanYear scans the channels of plantChannels over all of 2025.
func scanYear(b *testing.B, s *local.Store) (readings int) {
	columns, err := s.Scan(b.Context(), "moorhof", plantChannels, year2025, year2025.AddDate(1, 0, 0))
	require.NoError(b, err)
	for _, c := range columns {
		readings += c.Len()
	}
	return readings
}

// BenchmarkScanRows reads a day that has not been sealed.
func BenchmarkScanRows(b *testing.B) {
	s := open(b, newPath(b), asRows)
	fill(b, s, 1)
	n := 0
	for b.Loop() {
		n += scanYear(b, s)
	}
	perSecond(b, n)
}

// BenchmarkScanSiteYear reads a site-year of 10 s readings of eight channels.
func BenchmarkScanSiteYear(b *testing.B) {
	if testing.Short() {
		b.Skip("appends 25 million readings first")
	}
	path := newPath(b)
	s := open(b, path, local.Options{})
	fill(b, s, 365)
	size := sizeOf(b, s, path)
	s = open(b, path, local.Options{})
	n := 0
	for b.Loop() {
		n += scanYear(b, s)
	}
	perSecond(b, n)
	b.ReportMetric(size*float64(b.N)/float64(n), "bytes/reading")
}

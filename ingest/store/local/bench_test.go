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
	"coldweek/ingest/store/storetest"
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
	day := storetest.PlantDay("", 0)
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

// BenchmarkAppendMessages appends what a fleet sends: 200 plants a message every
// 10 s, a reading of each of eight channels; 60 messages make a commit. An hour
// of rows is there already; "after a year" the revisions of a year's hours too.
func BenchmarkAppendMessages(b *testing.B) {
	b.Run("new", func(b *testing.B) { appendMessages(b, 1) })
	b.Run("after a year", func(b *testing.B) { appendMessages(b, 365*24) })
}

const (
	fleetSites    = 200
	fleetMessages = 60
	fleetHour     = 360 // messages of a plant
)

func appendMessages(b *testing.B, hours int) {
	s := fleet(b, fleetSites, fleetHour)
	s.Ask(`WITH RECURSIVE past (hour) AS (VALUES (?1) UNION ALL SELECT hour - 1 FROM past WHERE hour > ?1 - ?2)
		INSERT INTO hour_revision SELECT site.id, hour, 1 FROM site, past WHERE true ON CONFLICT DO NOTHING`,
		year2025.Unix()/3600-1, hours)
	messages := 0
	for b.Loop() {
		var batch []ingest.Reading
		for range fleetMessages {
			// 77 and 200 have no common factor: every plant once, in no order
			batch = appendMessage(batch, messages*77%fleetSites, fleetHour+messages/fleetSites)
			messages++
		}
		changed, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
		require.Equal(b, int64(len(batch)), changed)
	}
	b.ReportMetric(float64(messages)/b.Elapsed().Seconds(), "messages/s")
}

// fleet is a store with rows of today, so many messages of each plant.
func fleet(b *testing.B, sites, messages int) *local.Store {
	s := open(b, newPath(b), local.Options{Now: func() time.Time { return year2025 }})
	for site := range sites {
		var batch []ingest.Reading
		for n := range messages {
			batch = appendMessage(batch, site, n)
		}
		_, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
	}
	return s
}

func appendMessage(batch []ingest.Reading, site, n int) []ingest.Reading {
	for i, channel := range storetest.PlantChannels {
		batch = append(batch, ingest.Reading{
			Site: fmt.Sprint("site ", site), Channel: channel,
			Time:  year2025.Add(time.Duration(n)*10*time.Second + time.Duration(site)*49*time.Millisecond),
			Value: float64((n*31+site*17+i*7)%4000) / 10,
		})
	}
	return batch
}

// BenchmarkAppendBlocks appends history, a day of a site at a time.
func BenchmarkAppendBlocks(b *testing.B) {
	path := newPath(b)
	s := open(b, path, local.Options{})
	storetest.PlantDay("", 0) // simulated beforehand
	n := 0
	for day := 0; b.Loop(); day++ {
		batch := storetest.PlantDay(fmt.Sprint("site ", day/365), day%365)
		_, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
		n += len(batch)
	}
	perSecond(b, n)
	b.ReportMetric(sizeOf(b, s, path)/float64(n), "bytes/reading")
}

// BenchmarkSeal packs days of rows.
func BenchmarkSeal(b *testing.B) {
	storetest.PlantDay("", 0) // simulated beforehand
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

// BenchmarkSealFleet packs what has come together since the last time, half an
// hour and the hour that stays.
func BenchmarkSealFleet(b *testing.B) {
	n := 0
	for b.Loop() {
		b.StopTimer()
		s := fleet(b, fleetSites/4, fleetHour*3/2)
		b.StartTimer()
		report, err := s.Seal(b.Context(), year2025.Add(fleetHour*3/2*10*time.Second-time.Hour+time.Minute*4))
		require.NoError(b, err)
		require.Positive(b, report.Readings)
		n += int(report.Readings)
		b.StopTimer()
		require.NoError(b, s.Close())
		b.StartTimer()
	}
	perSecond(b, n)
}

// BenchmarkScanHour reads what has not been sealed of one plant of many.
func BenchmarkScanHour(b *testing.B) {
	s := fleet(b, fleetSites/4, fleetHour)
	for name, channels := range map[string][]ingest.Channel{"all": storetest.PlantChannels, "one": storetest.PlantChannels[3:4]} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				columns, err := s.Scan(b.Context(), "site 7", channels, year2025, year2025.AddDate(0, 0, 1))
				require.NoError(b, err)
				require.Equal(b, fleetHour, columns[0].Len())
			}
		})
	}
	b.Run("extents", func(b *testing.B) {
		for b.Loop() {
			extents, err := s.Extents(b.Context(), "site 7")
			require.NoError(b, err)
			require.Len(b, extents, len(storetest.PlantChannels))
		}
	})
}

// scanYear scans the channels of storetest.PlantChannels over all of 2025.
func scanYear(b *testing.B, s *local.Store) (readings int) {
	columns, err := s.Scan(b.Context(), "moorhof", storetest.PlantChannels, year2025, year2025.AddDate(1, 0, 0))
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

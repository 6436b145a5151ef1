package influx_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
	"coldweek/ingest/store/local"
	"coldweek/ingest/store/storetest"
)

func perSecond(b *testing.B, readings int) {
	b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
}

// filled returns a store whose database holds days of one plant.
func filled(b *testing.B, server *influxtest.Server, days int) *opened {
	s := open(b, newFiles(b), influx.Options{URL: server.URL(), Bucket: database(server)})
	for day := range days {
		_, err := s.Append(b.Context(), storetest.PlantDay("moorhof", day))
		require.NoError(b, err)
		if day%10 == 9 {
			s.drain(b)
		}
	}
	s.drain(b)
	return s
}

// BenchmarkSiteDay reads a site-day of 8,640 times and 8 channels in every way
// that 1.8 offers.
func BenchmarkSiteDay(b *testing.B) {
	server := influxtest.Start(b, influxtest.Flux)
	s := filled(b, server, 1)
	narrow(b, server, s.options.Bucket, storetest.PlantDay("moorhof", 0))
	for name, read := range map[string]func() int{
		"InfluxQL MessagePack, the store's Scan":  func() int { return scanDays(b, s, 1) },
		"InfluxQL MessagePack, channels as a tag": func() int { return readNarrow(b, s) },
		"InfluxQL JSON":  func() int { return readJSON(b, s.options) },
		"InfluxQL CSV":   func() int { return readCSV(b, s.options) },
		"Flux unpivoted": func() int { return readFlux(b, s.options, "") },
		"Flux pivoted": func() int {
			return readFlux(b, s.options, `|> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")`)
		},
	} {
		b.Run(name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				n = read()
			}
			require.Equal(b, len(storetest.PlantDay("", 0)), n)
			perSecond(b, n*b.N)
		})
	}
}

func scanDays(b *testing.B, s *opened, days int) (n int) {
	columns, err := s.Scan(b.Context(), "moorhof", storetest.PlantChannels, year2025, year2025.AddDate(0, 0, days))
	require.NoError(b, err)
	for _, c := range columns {
		n += c.Len()
	}
	return n
}

const selection = `SELECT "flow_temp", "return_temp", "flow_rate", "power", "heat_output", "compressor_speed", "pump_power", "mode"
	FROM "reading" WHERE "site" = 'moorhof' AND time >= '2025-01-01' AND time < '2025-01-02'`

func ask(b *testing.B, o influx.Options, accept string) io.ReadCloser {
	request, err := http.NewRequest(http.MethodGet, o.URL+"/query?"+url.Values{"db": {o.Bucket}, "epoch": {"ms"}, "q": {selection}}.Encode(), nil)
	require.NoError(b, err)
	request.Header.Set("Accept", accept)
	request.Header.Set("Accept-Encoding", "identity")
	answer, err := http.DefaultClient.Do(request)
	require.NoError(b, err)
	return answer.Body
}

func readJSON(b *testing.B, o influx.Options) (n int) {
	body := ask(b, o, "application/json")
	defer func() { _ = body.Close() }()
	var answer struct {
		Results []struct {
			Series []struct{ Values [][]*float64 }
		}
	}
	require.NoError(b, json.NewDecoder(body).Decode(&answer))
	for _, row := range answer.Results[0].Series[0].Values {
		for _, v := range row[1:] {
			if v != nil {
				n++
			}
		}
	}
	return n
}

func readCSV(b *testing.B, o influx.Options) (n int) {
	body := ask(b, o, "application/csv")
	defer func() { _ = body.Close() }()
	lines := csv.NewReader(body)
	lines.ReuseRecord = true
	_, err := lines.Read()
	require.NoError(b, err)
	for {
		line, err := lines.Read()
		if err == io.EOF {
			return n
		}
		require.NoError(b, err)
		for _, v := range line[3:] { // name, tags, time
			if v == "" {
				continue
			}
			if _, err := strconv.ParseFloat(v, 64); err != nil {
				b.Fatal(err)
			}
			n++
		}
	}
}

func readFlux(b *testing.B, o influx.Options, pivot string) (n int) {
	client := influxdb2.NewClient(o.URL, "")
	defer client.Close()
	result, err := client.QueryAPI("").Query(b.Context(), fmt.Sprintf(`from(bucket: %q)
		|> range(start: 2025-01-01T00:00:00Z, stop: 2025-01-02T00:00:00Z)
		|> filter(fn: (r) => r._measurement == "reading" and r.site == "moorhof") %s`, o.Bucket, pivot))
	require.NoError(b, err)
	for result.Next() {
		for _, channel := range storetest.PlantChannels {
			if result.Record().Values()[string(channel)] != nil {
				n++
			}
		}
		if pivot == "" {
			n++
		}
	}
	require.NoError(b, result.Err())
	return n
}

// narrow writes readings with the channel as a tag, what the store does not do.
func narrow(b *testing.B, server *influxtest.Server, database string, readings []ingest.Reading) {
	server.Write(database, narrowLines(readings)...)
}

func narrowLines(readings []ingest.Reading) []string {
	lines := make([]string, len(readings))
	for i, r := range readings {
		lines[i] = fmt.Sprintf("narrow,channel=%s,site=%s value=%g %d", r.Channel, r.Site, r.Value, r.Time.UnixMilli())
	}
	return lines
}

func readNarrow(b *testing.B, s *opened) int {
	n, err := influx.Count(b.Context(), s.Store, `SELECT "value" FROM "narrow" WHERE "site" = 'moorhof'
		AND time >= '2025-01-01' AND time < '2025-01-02' GROUP BY "channel"`)
	require.NoError(b, err)
	return n
}

// BenchmarkWriteShape writes site-days as the store does, a field a channel,
// and with the channel as a tag.
func BenchmarkWriteShape(b *testing.B) {
	server := influxtest.Start(b)
	b.Run("a field a channel", func(b *testing.B) { benchmarkWrite(b, server, wideLines) })
	b.Run("channel as a tag", func(b *testing.B) { benchmarkWrite(b, server, narrowLines) })
}

func wideLines(readings []ingest.Reading) []string {
	var lines []string
	for i, r := range readings {
		if i == 0 || !r.Time.Equal(readings[i-1].Time) {
			lines = append(lines, fmt.Sprintf("reading,site=%s ", r.Site))
		} else {
			lines[len(lines)-1] += ","
		}
		lines[len(lines)-1] += fmt.Sprintf("%s=%g", r.Channel, r.Value)
		if i+1 == len(readings) || !r.Time.Equal(readings[i+1].Time) {
			lines[len(lines)-1] += fmt.Sprint(" ", r.Time.UnixMilli())
		}
	}
	return lines
}

// benchmarkWrite writes a day in requests of 10,000 readings.
func benchmarkWrite(b *testing.B, server *influxtest.Server, lines func([]ingest.Reading) []string) {
	name := database(server)
	n := 0
	for day := 0; b.Loop(); day++ {
		b.StopTimer()
		readings := storetest.PlantDay("moorhof", day)
		b.StartTimer()
		for len(readings) > 0 {
			part := readings[:min(len(readings), 10_000)]
			readings = readings[len(part):]
			server.Write(name, lines(part)...)
			n += len(part)
		}
	}
	perSecond(b, n)
	server.Stop()
	b.ReportMetric(float64(sizeOf(b, server.DataDir()))/float64(n), "bytes/reading")
	server.Resume()
}

// sizeOf leaves out the catalogue of series, 32 MB set aside beforehand.
func sizeOf(b *testing.B, dir string) (bytes int64) {
	require.NoError(b, filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if d.IsDir() && d.Name() == "_series" {
			return fs.SkipDir
		}
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			bytes += info.Size()
		}
		return err
	}))
	return bytes
}

// BenchmarkAppend appends live readings to the journal: of 50 sites, 80 each at
// a time.
func BenchmarkAppend(b *testing.B) {
	s := open(b, newFiles(b), influx.Options{URL: "http://127.0.0.1:9", Bucket: "plants"})
	const sites, each = 50, 80
	day := storetest.PlantDay("", 0)
	n := 0
	for i := 0; b.Loop(); i++ {
		part := day[i*each%(len(day)-each):][:each]
		batch := make([]ingest.Reading, 0, sites*each)
		for site := range sites {
			for _, r := range part {
				r.Site = fmt.Sprint("site ", site)
				batch = append(batch, r)
			}
		}
		_, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
		n += len(batch)
	}
	perSecond(b, n)
}

// BenchmarkForward forwards site-days that wait in the journal.
func BenchmarkForward(b *testing.B) {
	server := influxtest.Start(b)
	s := open(b, newFiles(b), influx.Options{URL: server.URL(), Bucket: database(server)})
	n := 0
	for day := 0; b.Loop(); day++ {
		b.StopTimer()
		readings := storetest.PlantDay("moorhof", day)
		for len(readings) > 0 {
			part := readings[:min(len(readings), 800)]
			readings = readings[len(part):]
			_, err := s.Append(b.Context(), part)
			require.NoError(b, err)
			n += len(part)
		}
		b.StartTimer()
		s.drain(b)
	}
	perSecond(b, n)
}

// BenchmarkSiteYear reads from a site-year of 10 s readings of eight channels.
func BenchmarkSiteYear(b *testing.B) {
	if testing.Short() {
		b.Skip("writes 25 million readings first")
	}
	s := filled(b, influxtest.Start(b), 365)
	b.Run("Scan", func(b *testing.B) {
		n := 0
		for b.Loop() {
			n += scanDays(b, s, 365)
		}
		perSecond(b, n)
	})
	b.Run("Extents", func(b *testing.B) {
		for b.Loop() {
			extents, err := s.Extents(b.Context(), "moorhof")
			require.NoError(b, err)
			require.Len(b, extents, len(storetest.PlantChannels))
		}
	})
	b.Run("Revision", func(b *testing.B) {
		for b.Loop() {
			revision, err := store.Revision(b.Context(), s, "moorhof", year2025, year2025.AddDate(1, 0, 0))
			require.NoError(b, err)
			require.Positive(b, revision)
		}
	})
}

// BenchmarkBytes says how much room a month of the plant takes in InfluxDB, when
// all is compacted, and in store/local.
func BenchmarkBytes(b *testing.B) {
	const days = 30
	for b.Loop() {
		server := influxtest.Start(b, "INFLUXDB_DATA_CACHE_SNAPSHOT_WRITE_COLD_DURATION=1s", "INFLUXDB_DATA_COMPACT_FULL_WRITE_COLD_DURATION=1s")
		filled(b, server, days)
		readings := days * len(storetest.PlantDay("", 0))
		require.Eventually(b, func() bool { return compacted(b, server.DataDir()) }, time.Minute, 100*time.Millisecond)
		b.ReportMetric(float64(sizeOf(b, server.DataDir()))/float64(readings), "bytes/reading")
		b.ReportMetric(float64(localBytes(b, days))/float64(readings), "bytes/reading-local")
	}
}

// compacted says that nothing is left in write-ahead logs and each shard has
// one file.
func compacted(b *testing.B, dir string) bool {
	logs, err := filepath.Glob(filepath.Join(dir, "wal/*/*/*/*.wal"))
	require.NoError(b, err)
	for _, log := range logs {
		if info, err := os.Stat(log); err != nil || info.Size() > 0 {
			return false
		}
	}
	files, err := filepath.Glob(filepath.Join(dir, "data/*/*/*/*.tsm*"))
	require.NoError(b, err)
	shards := make(map[string]bool)
	for _, file := range files {
		if shards[filepath.Dir(file)] || strings.HasSuffix(file, ".tmp") {
			return false
		}
		shards[filepath.Dir(file)] = true
	}
	return len(shards) > 0
}

func localBytes(b *testing.B, days int) int64 {
	path := filepath.Join(b.TempDir(), "readings.db")
	s, err := local.Open(b.Context(), path, local.Options{})
	require.NoError(b, err)
	for day := range days {
		_, err := s.Append(b.Context(), storetest.PlantDay("moorhof", day))
		require.NoError(b, err)
	}
	_, err = s.Seal(b.Context(), year2025.AddDate(1, 0, 0))
	require.NoError(b, err)
	require.NoError(b, s.Close())
	info, err := os.Stat(path)
	require.NoError(b, err)
	return info.Size()
}

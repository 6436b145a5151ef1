package local_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store/local"
)

var plantChannels = []ingest.Channel{
	"flow_temp", "return_temp", "outdoor_temp", "room_temp", "power", "flow_rate", "electricity_register", "mode",
}

// plantDay makes one day of 10 s readings of eight channels, day counted from
// the start of 2025.
func plantDay(site string, day int) []ingest.Reading {
	rng := rand.New(rand.NewPCG(uint64(day), 1))
	start := time.Date(2025, 1, 1+day, 0, 0, 0, 0, time.UTC)
	round := func(v, perUnit float64) float64 { return math.Round(v*perUnit) / perUnit }
	readings := make([]ingest.Reading, 0, 8*8640)
	flowC, energyKWh := 30.0, 1000+20*float64(day)
	for i := range 8640 {
		mode := 0.0
		if i%240 < 170 {
			mode = 1
		}
		flowC += (30 + 8*mode - flowC) * 0.02
		powerW := math.Round(8 + mode*(1800+200*math.Sin(float64(i)/900)+15*rng.NormFloat64()))
		energyKWh += powerW / 360_000
		at := start.Add(time.Duration(i) * 10 * time.Second)
		for c, v := range []float64{
			round(flowC+0.03*rng.NormFloat64(), 100), round(flowC-4*mode+0.03*rng.NormFloat64(), 10),
			round(2+4*math.Sin(float64(i)/1375)+0.03*rng.NormFloat64(), 10), round(20.5+0.03*rng.NormFloat64(), 100),
			powerW, math.Round(mode * (1150 + 8*rng.NormFloat64())), round(energyKWh, 1000), mode,
		} {
			readings = append(readings, ingest.Reading{Site: site, Channel: plantChannels[c], Time: at, Value: v})
		}
	}
	return readings
}

func BenchmarkScanSiteYear(b *testing.B) {
	if testing.Short() {
		b.Skip("builds a site-year first")
	}
	path := filepath.Join(b.TempDir(), "year.db")
	s := open(b, path, local.Options{})
	start := time.Now()
	for day := range 365 {
		_, err := s.Append(b.Context(), plantDay("moorhof", day))
		require.NoError(b, err)
	}
	wrote := time.Since(start)
	require.NoError(b, s.Close())
	info, err := os.Stat(path)
	require.NoError(b, err)
	s = open(b, path, local.Options{})
	from := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	n := 0
	for b.Loop() {
		columns, err := s.Scan(b.Context(), "moorhof", plantChannels, from, from.AddDate(1, 0, 0))
		require.NoError(b, err)
		n = 0
		for _, c := range columns {
			n += c.Len()
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
	b.ReportMetric(float64(info.Size())/float64(n), "bytes/reading")
	fmt.Println(n, wrote, float64(n)/wrote.Seconds()/1e6)
}

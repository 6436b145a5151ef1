package sensor

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Source: testdata/signature/sig_F_solar_multi.csv and what R's lm made of it
// (signature_results.csv, set F, lm heat~dT+solar).
func TestFitAgainstR(t *testing.T) {
	file, err := os.Open("../../testdata/signature/sig_F_solar_multi.csv")
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	var f fit
	for _, row := range rows[1:] {
		var v [5]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
		}
		f.add(v[2]-v[1], v[3], v[4])
	}
	p, ok := f.solve()
	require.True(t, ok)
	assert.InDelta(t, 4.8863218, p.slope, 1e-6)
	assert.InDelta(t, -5.0075631, p.other, 1e-6)
	assert.InDelta(t, 0.078404571, p.slopeErr, 1e-7)
	assert.InDelta(t, 0.30208659, p.otherErr, 1e-7)
	assert.InDelta(t, 542.75876, p.rss, 1e-4)
}

func TestFitRefusesWhatGoesTogether(t *testing.T) {
	var f fit
	for x := range 10 {
		f.add(float64(x), 2*float64(x), float64(x*x))
	}
	_, ok := f.solve()
	assert.False(t, ok)
	_, ok = (&fit{}).solve()
	assert.False(t, ok)
}

// Source: sunrise and sunset of Greenwich as almanacs print them, 08:04 and
// 15:53 UTC on 21 December, 03:43 and 20:21 UTC on 21 June, from memory. They
// are of the sun's upper edge, refraction included, some 6 minutes outside those
// of its centre; the formulae leave some minutes more.
func TestSunOverGreenwich(t *testing.T) {
	greenwich := Place{LatitudeDeg: 51.48}
	for _, day := range []struct {
		noon      time.Time
		rise, set float64
	}{
		{time.Date(2026, 12, 21, 12, 0, 0, 0, time.UTC), 8 + 4/60.0 + 0.1, 15 + 53/60.0 - 0.1},
		{time.Date(2026, 6, 21, 12, 0, 0, 0, time.UTC), 3 + 43/60.0 + 0.1, 20 + 21/60.0 - 0.1},
	} {
		riseMS, setMS, ok := greenwich.day(day.noon.UnixMilli())
		require.True(t, ok)
		midnight := day.noon.Add(-12 * time.Hour).UnixMilli()
		assert.InDelta(t, day.rise, float64(riseMS-midnight)/hourMS, 0.1)
		assert.InDelta(t, day.set, float64(setMS-midnight)/hourMS, 0.1)
	}
	_, _, ok := Place{LatitudeDeg: 80}.day(time.Date(2026, 12, 21, 12, 0, 0, 0, time.UTC).UnixMilli())
	assert.False(t, ok, "polar night")
}

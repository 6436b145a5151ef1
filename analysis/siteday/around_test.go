package siteday_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// piece is a stretch of a made-up course: so many minutes of the same values.
type piece struct {
	minutes                         float64
	powerW, flowLPH, flowC, returnC float64
}

// course plays pieces one after the other, sampled at a spacing.
func course(from time.Time, every time.Duration, pieces ...piece) (columns []ingest.Column, to time.Time) {
	columns = []ingest.Column{{Channel: "power"}, {Channel: "flow_rate"}, {Channel: "flow_temp"}, {Channel: "return_temp"},
		{Channel: "outdoor_temp"}, {Channel: "flow_target"}, {Channel: "outdoor_humidity"}}
	at := from
	for _, p := range pieces {
		for end := at.Add(time.Duration(p.minutes * float64(time.Minute))); at.Before(end); at = at.Add(every) {
			for i, v := range []float64{p.powerW, p.flowLPH, p.flowC, p.returnC, 1, 34, 95} {
				columns[i].UnixMS = append(columns[i].UnixMS, at.UnixMilli())
				columns[i].Value = append(columns[i].Value, v)
			}
		}
	}
	return columns, at
}

func sumOf(columns []ingest.Column, begin, end, from, to time.Time) siteday.Day {
	tr := trace.Build(columns, begin, end, trace.Options{Marks: []time.Time{from, to}})
	return siteday.Sum(tr, operation.Detect(tr), from.Format(time.DateOnly), from, to)
}

var dawn = time.Date(2026, 1, 14, 2, 0, 0, 0, time.UTC)

// withDefrost heats for 40 minutes at 5 K, defrosts, gives 7 K for 8 minutes
// and then 5 K again.
func withDefrost(from time.Time, every time.Duration) ([]ingest.Column, time.Time) {
	return course(from, every,
		piece{30, 12, 0, 30, 30}, piece{40, 1600, 1200, 36, 31}, piece{1, 300, 1200, 33, 31}, piece{4, 800, 1200, 29, 31},
		piece{8, 2400, 1200, 37, 30}, piece{40, 1600, 1200, 36, 31}, piece{30, 12, 0, 30, 30})
}

// TestAroundADefrost: 1200 l/h carry 1.157 kWh/(m³·K) near 33 °C, so 5 K are
// 6.94 kW and 7 K are 9.72 kW (testdata/fluid/heat_coefficient.csv, 35/30).
func TestAroundADefrost(t *testing.T) {
	columns, end := withDefrost(dawn, 10*time.Second)
	s := sumOf(columns, dawn, end, dawn, end).Sums
	require.Len(t, s.Defrosts, 1)
	d := s.Defrosts[0]
	meanW := func(e siteday.Stretch) (heatW, powerW float64) { return e.HeatJ / e.S, e.ElectricityJ / e.S }

	heatW, powerW := meanW(d.Before)
	assert.InDelta(t, 6940, heatW, 20)
	assert.InDelta(t, 1600, powerW, 1)
	assert.InDelta(t, 12*60, d.Before.S, 15, "twelve minutes at most")
	heatW, powerW = meanW(d.After)
	assert.InDelta(t, 6940, heatW, 20)
	assert.InDelta(t, 1600, powerW, 1)
	assert.InDelta(t, 12*60, d.After.S, 15)
	// Eight minutes above usual, and until the last three are within 10 % of it:
	// 24 s of 7 K in three minutes are 5.3 % more heat and 6.7 % more power.
	assert.Greater(t, d.Recovery.S, 8*60.0)
	assert.Less(t, d.Recovery.S, 12*60.0)
	assert.Less(t, d.Took.HeatJ, 0.0)
	assert.InDelta(t, d.To.Sub(d.From).Seconds(), d.Took.S, 30)
	require.NotNil(t, d.HumidityPct)
	assert.Equal(t, 95.0, *d.HumidityPct)
	assert.False(t, d.HotWater)
	assert.InDelta(t, s.RunS(), s.Humidity.Total(), 1)
	assert.InDelta(t, s.RunS(), s.Humidity.Weight[9], 1, "90 to 100 %")
}

// TestReferenceKeepsAwayFromStartsAndDefrosts: six minutes after a start
// nothing before the defrost has settled, and two defrosts 20 minutes apart
// leave ten minutes of recovery out.
func TestReferenceKeepsAwayFromStartsAndDefrosts(t *testing.T) {
	heat, thaw := piece{0, 1600, 1200, 36, 31}, piece{4, 800, 1200, 29, 31}
	lasting := func(p piece, minutes float64) piece { p.minutes = minutes; return p }
	off := piece{30, 12, 0, 30, 30}
	columns, end := course(dawn, 10*time.Second, off, lasting(heat, 60), off, lasting(heat, 6), thaw, lasting(heat, 20), thaw, lasting(heat, 30), off)
	s := sumOf(columns, dawn, end, dawn, end).Sums
	require.Len(t, s.Defrosts, 2)
	assert.Less(t, s.Defrosts[0].Before.S, 30.0, "five of six minutes are the start's, one is the margin")
	assert.InDelta(t, (20-10-1)*60, s.Defrosts[1].Before.S, 45)
	assert.InDelta(t, 10*60, s.Defrosts[0].Recovery.S, 15, "it is not known what output was before")
	assert.InDelta(t, (20-10-1)*60, s.Defrosts[0].After.S, 30)
}

// TestDaysAddUp: what is cut at midnight and merged is what was never cut.
func TestDaysAddUp(t *testing.T) {
	midnight := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	for _, before := range []time.Duration{72 * time.Minute, 80 * time.Minute, 100 * time.Minute} { // in the defrost, the recovery, the run
		from := midnight.Add(-before)
		columns, end := withDefrost(from, 10*time.Second)
		whole := sumOf(columns, from, end, from, end).Sums
		merged := siteday.Merge([]siteday.Day{sumOf(columns, from, end, from, midnight), sumOf(columns, from, end, midnight, end)})
		require.Len(t, merged.Runs, 1, before)
		require.Len(t, merged.Defrosts, 1, before)
		assert.InDelta(t, whole.Runs[0].Took.HeatJ, merged.Runs[0].Took.HeatJ, 1, before)
		assert.InDelta(t, whole.Runs[0].Took.S, merged.Runs[0].Took.S, 1e-6, before)
		assert.Equal(t, whole.Runs[0].Begin, merged.Runs[0].Begin, before)
		assert.Equal(t, whole.Runs[0].End, merged.Runs[0].End, before)
		assert.Equal(t, whole.Runs[0].AfterS, merged.Runs[0].AfterS, before)
		w, m := whole.Defrosts[0], merged.Defrosts[0]
		assert.InDelta(t, w.Took.HeatJ, m.Took.HeatJ, 1, before)
		for _, pair := range [][2]siteday.Stretch{{w.Before, m.Before}, {w.Recovery, m.Recovery}, {w.After, m.After}} {
			assert.InDelta(t, pair[0].HeatJ, pair[1].HeatJ, 1, before)
			assert.InDelta(t, pair[0].S, pair[1].S, 1e-6, before)
		}
		assert.InDelta(t, whole.Humidity.Total(), merged.Humidity.Total(), 1e-6)
		assert.InDelta(t, whole.Bins[1].CoveredS.Total(), merged.Bins[1].CoveredS.Total(), 1e-6)
	}
}

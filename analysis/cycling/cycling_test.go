package cycling_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/cycling"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

var midnight = time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)

// runsOf makes heating runs of the given minutes after minute pauses of them.
func runsOf(lengths, pauses []float64) []siteday.Run {
	var runs []siteday.Run
	at := midnight
	for i, minutes := range lengths {
		from := at.Add(time.Duration(pauses[i] * float64(time.Minute)))
		at = from.Add(time.Duration(minutes * float64(time.Minute)))
		runs = append(runs, siteday.Run{From: from, To: at, Started: true, Stopped: true, HeatingS: minutes * 60})
	}
	return runs
}

// sumsOf gives the runs a day of their own.
func sumsOf(runs []siteday.Run) *siteday.Sums {
	sums := &siteday.Sums{Runs: runs}
	for _, run := range runs {
		sums.SecondsS[operation.Heating] += run.To.Sub(run.From).Seconds()
	}
	sums.SecondsS[operation.Off] = 86400 - sums.SecondsS[operation.Heating]
	return sums
}

// TestReferenceDay: testdata/telemetry/expected.csv, 14 runs of 540; 50; 10
// times 4; 120; 420 minutes, 13 starts, median 4, 10 shorter than 10 minutes, at
// most 5 starts in a rolling 60 minutes. Pauses are those of day.csv.
func TestReferenceDay(t *testing.T) {
	runs := runsOf([]float64{540, 50, 4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 120, 420},
		[]float64{0, 10, 60, 8, 8, 8, 8, 8, 8, 8, 8, 8, 30, 30})
	runs[0].Started = false
	r := cycling.Summarise(sumsOf(runs), cycling.Plant{})
	assert.Equal(t, 13, r.Starts)
	assert.Equal(t, 10, r.Short)
	assert.Equal(t, 4*time.Minute, r.Runs.Median)
	require.NotNil(t, r.Busiest)
	assert.Equal(t, 5, r.Busiest.Starts)
	assert.Equal(t, 13, r.Pauses.Count)
	assert.InDelta(t, 13/((540+50+40+120+420)/60.0), *r.StartsPerRunHour, 1e-9)
	assert.Equal(t, cycling.VeryShort, r.Verdict, "median under 6 minutes on a day with more than 6 starts")
	assert.Equal(t, []cycling.Class{{5 * time.Minute, 10}, {10 * time.Minute, 0}, {15 * time.Minute, 0}, {30 * time.Minute, 0},
		{time.Hour, 1}, {3 * time.Hour, 1}, {8 * time.Hour, 1}, {0, 0}}, r.Runs.Classes, "the first was not seen to start")
}

func TestRollingHour(t *testing.T) {
	at := func(minutes ...int) *siteday.Sums {
		var runs []siteday.Run
		for _, m := range minutes {
			from := midnight.Add(time.Duration(m) * time.Minute)
			runs = append(runs, siteday.Run{From: from, To: from.Add(time.Minute), Started: true, Stopped: true})
		}
		return sumsOf(runs)
	}
	busiest := cycling.Summarise(at(0, 50, 59, 60, 70, 110, 200), cycling.Plant{}).Busiest
	assert.Equal(t, 4, busiest.Starts, "50, 59, 60 and 70; at 110 the first is an hour ago")
	assert.Equal(t, midnight.Add(50*time.Minute), busiest.From)
	assert.Nil(t, cycling.Summarise(&siteday.Sums{}, cycling.Plant{}).Busiest)
}

// TestPausesWithGapsAreNotKnown and a run that was not seen whole is no length.
func TestPausesWithGapsAreNotKnown(t *testing.T) {
	sums := sumsOf(runsOf([]float64{30, 30, 30}, []float64{10, 20, 40}))
	gap := sums.Runs[1].To.Add(5 * time.Minute)
	sums.Gaps = []siteday.Gap{{From: gap, To: gap.Add(3 * time.Minute)}}
	r := cycling.Summarise(sums, cycling.Plant{})
	assert.Equal(t, 1, r.Pauses.Count)
	assert.Equal(t, 20*time.Minute, r.Pauses.Median)
	sums.Runs[2].Stopped = false
	assert.Equal(t, 2, cycling.Summarise(sums, cycling.Plant{}).Runs.Count)
	sums.Gaps[0] = siteday.Gap{From: sums.Runs[1].From.Add(-10 * time.Minute), To: sums.Runs[1].From}
	assert.Equal(t, 1, cycling.Summarise(sums, cycling.Plant{}).Runs.Count, "it may have begun in the gap")
}

func TestShortRunsFollowTheSitesLimit(t *testing.T) {
	sums := sumsOf(runsOf([]float64{8, 11, 14, 30}, []float64{10, 10, 10, 10}))
	assert.Equal(t, 1, cycling.Summarise(sums, cycling.Plant{}).Short)
	assert.Equal(t, 2, cycling.Summarise(sums, cycling.Plant{ShortRun: 12 * time.Minute}).Short)
}

func TestByOutdoorTemperature(t *testing.T) {
	sums := sumsOf(runsOf([]float64{8, 30, 40}, []float64{10, 10, 10}))
	for i, outdoorC := range []float64{9, 3.9, 2} {
		sums.Runs[i].MeanOutdoor = siteday.Mean{ValueS: outdoorC * 60, S: 60}
	}
	var bin siteday.Bin
	bin.SecondsS[operation.Heating], bin.SecondsS[operation.Off] = 1000, 5000
	sums.Bins = map[int]siteday.Bin{3: bin, 2: bin, -5: {}}
	bands := cycling.Summarise(sums, cycling.Plant{}).ByOutdoor
	require.Len(t, bands, 2, "bins without running are left out")
	assert.Equal(t, 2.0, bands[0].FromC)
	assert.Equal(t, 4.0, bands[0].ToC)
	assert.Equal(t, 2000.0, bands[0].RunS)
	assert.Equal(t, 2, bands[0].Starts)
	assert.Equal(t, 1, bands[1].Short)
	assert.Equal(t, 8*time.Minute, *bands[1].Median)
}

// TestVerdict: the limits of the package's sources on either side.
func TestVerdict(t *testing.T) {
	many := func(n int, minutes, pause float64) *siteday.Sums {
		lengths, pauses := make([]float64, n), make([]float64, n)
		for i := range n {
			lengths[i], pauses[i] = minutes, pause
		}
		return sumsOf(runsOf(lengths, pauses))
	}
	check := func(want cycling.Verdict, sums *siteday.Sums) {
		t.Helper()
		r := cycling.Summarise(sums, cycling.Plant{})
		assert.Equal(t, want, r.Verdict, r.Why)
	}
	check(cycling.Calm, many(5, 120, 60))
	check(cycling.Calm, many(10, 22, 60))
	check(cycling.Frequent, many(10, 17, 60))
	check(cycling.Short, many(10, 13, 60))
	check(cycling.Short, many(6, 12, 3) /* 5 starts in an hour */)
	check(cycling.VeryShort, many(10, 5, 60))
	check(cycling.VeryShort, many(9, 7, 1))
	check(cycling.Calm, many(5, 13, 200))
	check(cycling.NotKnown, &siteday.Sums{})

	nothing := many(12, 1, 30)
	for i := range nothing.Runs {
		nothing.Runs[i].Took = siteday.Stretch{S: 60, HeatJ: 100, ElectricityJ: 9000}
	}
	check(cycling.NotKnown, nothing)
}

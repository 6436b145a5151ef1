package flowrate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/flowrate"
	"coldweek/analysis/siteday"
)

// made is a day of eight hours of heating at one output, with a flow.
func made(day int, flowLPH, outdoorC float64) siteday.Day {
	const heatingS, bin = 8 * 3600, 170
	from := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day)
	d := siteday.Day{Date: from.Format(time.DateOnly), From: from, To: from.AddDate(0, 0, 1)}
	d.Sums.SpanS = 86400
	d.Sums.Steady = map[int]siteday.SteadyBin{bin: {S: heatingS, VolumeL: flowLPH * heatingS / 3600}}
	d.Sums.Flow = siteday.NewHistogram(5)
	d.Sums.Flow.Add(flowLPH, heatingS)
	d.Sums.Outdoor = siteday.Mean{ValueS: outdoorC * 86400, S: 86400}
	return d
}

// TestTrendIntervalHoldsTheTruth draws flows with a known slope, a known
// dependence on the weather, and noise that follows itself from day to day
// (AR(1)); of the intervals of 95 %, 95 % must hold the slope, and they must
// not be much wider than least squares would make them with all known. Each
// share may miss by two and a quarter of its standard errors. How closely 28
// days follow each other cannot be told better than to 0.15, so that where they
// do, an interval of 95 % is one of 92 %.
func TestTrendIntervalHoldsTheTruth(t *testing.T) {
	check := func(days int, rho, fewest float64) {
		t.Run(fmt.Sprintf("%d days, rho %g", days, rho), func(t *testing.T) {
			const draws, noise = 600, 0.01
			n := float64(days)
			held, half := holding(t, days, draws, rho, noise)
			ideal := 1.96 * 700 * noise / math.Sqrt(n*(n*n-1)/12.0) * math.Sqrt((1+rho)/(1-rho))
			t.Logf("%.1f %% hold the truth; half width %.2f %% a week, least squares with rho known %.2f", 100*held, half, ideal)
			assert.GreaterOrEqual(t, held, fewest)
			assert.Less(t, half, 1.6*ideal)
		})
	}
	check(28, 0, 0.93)
	check(28, 0.3, 0.93)
	check(28, 0.6, 0.90)
	check(90, 0.6, 0.93)
}

// holding returns the share of intervals that hold the true slope, and the
// median of half their width.
func holding(t *testing.T, days, draws int, rho, noise float64) (share, half float64) {
	const truePct, perK = -1.0, 0.004 // a week, of the flow at first; by outdoor temperature
	random := rand.New(rand.NewPCG(7, uint64(100*rho)))
	var halves []float64
	for range draws {
		var list []siteday.Day
		follows, outdoorC := random.NormFloat64(), 0.0
		for d := range days {
			follows = rho*follows + math.Sqrt(1-rho*rho)*random.NormFloat64()
			outdoorC = 0.7*outdoorC + 3*random.NormFloat64()
			level := 1 + truePct/700*(float64(d)+0.5) + perK*outdoorC + noise*follows
			list = append(list, made(d, 1000*level, outdoorC))
		}
		trend := flowrate.Of(list).Trend
		require.NotNil(t, trend)
		if trend.PctPerWeek.Low <= truePct && truePct <= trend.PctPerWeek.High {
			share += 1 / float64(draws)
		}
		halves = append(halves, (trend.PctPerWeek.High-trend.PctPerWeek.Low)/2)
	}
	slices.Sort(halves)
	return share, halves[draws/2]
}

func TestTooFewDaysHaveNoTrend(t *testing.T) {
	var list []siteday.Day
	for d := range 9 {
		list = append(list, made(d, 1000-20*float64(d), float64(d%3)))
	}
	r := flowrate.Of(list)
	assert.Nil(t, r.Trend)
	assert.Nil(t, r.Step)
	assert.Len(t, r.Days, 9)
	assert.NotNil(t, flowrate.Of(append(list, made(9, 820, 1))).Trend, "ten days are enough")

	none := flowrate.Of(nil)
	assert.Nil(t, none.Trend)
	assert.Nil(t, none.HighLPH)
	assert.Nil(t, none.Pump)
}

// TestFreshStepIsFound: Pettitt's test alone cannot be sure of three days in
// twenty-eight.
func TestFreshStepIsFound(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	days := func(after int, share float64) []siteday.Day {
		var list []siteday.Day
		for d := range 28 {
			lph := 1000 * (1 + 0.004*random.NormFloat64())
			if d >= 28-after {
				lph *= share
			}
			list = append(list, made(d, lph, 5*math.Sin(float64(d))))
		}
		return list
	}
	for _, after := range []int{3, 5, 14, 25} {
		r := flowrate.Of(days(after, 0.9))
		if assert.NotNil(t, r.Step, "%d days after it", after) {
			assert.Equal(t, made(28-after, 0, 0).Date, r.Step.First)
			assert.InDelta(t, -10, r.Step.ChangePct.Value, 0.6)
			assert.InDelta(t, 0.9, r.Step.AfterLPH/r.Step.BeforeLPH, 0.006)
		}
	}
	week := flowrate.Of(days(4, 0.7)[21:])
	require.NotNil(t, week.Step, "in a week of which four days are after it")
	assert.InDelta(t, -30, week.Step.ChangePct.Value, 1)
	assert.Nil(t, week.Trend)
	assert.Nil(t, flowrate.Of(days(14, 0.96)).Step, "4 % is no closed valve")
	for range 200 {
		assert.Nil(t, flowrate.Of(days(0, 1)).Step)
	}
}

package defrost_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/defrost"
	"coldweek/analysis/siteday"
)

// defrosts come after each of the running times, in minutes, in air that
// warms by so many kelvin from one to the next.
func defrosts(stepK float64, runMin ...float64) *siteday.Sums {
	sums := &siteday.Sums{}
	at := morning
	for i, minutes := range append([]float64{60}, runMin...) {
		from := at.Add(time.Duration(minutes * float64(time.Minute)))
		outdoorC := stepK * float64(i)
		sums.Defrosts = append(sums.Defrosts, siteday.Defrost{From: from, To: from.Add(5 * time.Minute), OutdoorC: &outdoorC})
		at = from.Add(5 * time.Minute)
	}
	sums.Runs = []siteday.Run{{From: morning, To: at}}
	return sums
}

func TestWhatStartsDefrosts(t *testing.T) {
	check := func(want defrost.Kind, why string, sums *siteday.Sums) {
		t.Helper()
		p := defrost.Summarise(sums).Pattern
		assert.Equal(t, want, p.Kind, "%s: %s", why, p.Why)
	}
	check(defrost.Timed, "alike in changing air", defrosts(0.6, 45, 45, 46, 45, 44, 45, 45, 90, 45))
	check(defrost.NotKnown, "alike in air that stays as it is", defrosts(0.1, 45, 45, 46, 45, 44, 45, 45, 90, 45))
	check(defrost.NotKnown, "too few", defrosts(0.6, 45, 45, 46, 45, 44, 45, 45))
	check(defrost.Demand, "spread", defrosts(0.6, 38, 120, 45, 60, 82, 200, 52, 95, 41))
	check(defrost.NotKnown, "neither", defrosts(0.1, 45, 45, 45, 80, 46, 120, 45, 60, 45, 45))
	// Six in ten alike, and those in order of the weather.
	check(defrost.Demand, "follows the weather", defrosts(0.1, 40, 41, 41.5, 42, 42.5, 43, 43.5, 60, 70, 80, 90, 100))
}

// TestIntervalsAreRunningTime: a pause of an hour is no part of one, and a gap
// makes it unknown.
func TestIntervalsAreRunningTime(t *testing.T) {
	sums := defrosts(0.6, 120, 50)
	stop := sums.Defrosts[0].To.Add(30 * time.Minute)
	sums.Runs = []siteday.Run{{From: morning, To: stop}, {From: stop.Add(time.Hour), To: sums.Runs[0].To}}
	r := defrost.Summarise(sums)
	assert.Nil(t, r.Episodes[0].RunBeforeS, "it is not known what came before the first")
	require.NotNil(t, r.Episodes[1].RunBeforeS)
	assert.InDelta(t, 60*60, *r.Episodes[1].RunBeforeS, 1e-9)
	assert.InDelta(t, 50*60, *r.Episodes[2].RunBeforeS, 1e-9)

	sums.Gaps = []siteday.Gap{{From: stop.Add(10 * time.Minute), To: stop.Add(12 * time.Minute)}}
	r = defrost.Summarise(sums)
	assert.Nil(t, r.Episodes[1].RunBeforeS)
	assert.NotNil(t, r.Episodes[2].RunBeforeS)
}

func TestRangeAndOrder(t *testing.T) {
	p := defrost.Summarise(defrosts(0.5, 100, 95, 90, 85, 80, 75, 70, 65, 60, 55, 50)).Pattern
	assert.Equal(t, 11, p.Intervals)
	assert.InDelta(t, 75*60, p.MedianS, 1e-9)
	assert.InDelta(t, 4, p.OutdoorRangeK, 1e-9, "from the second to the tenth of eleven, 0.5 K apart")
	require.NotNil(t, p.OnOutdoor)
	assert.InDelta(t, -1, p.OnOutdoor.Tau, 1e-9, "ever shorter as it gets warmer")
	assert.Nil(t, p.OnHumidity)
}

package siteday_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/siteday"
)

// cycles runs three times for 12 minutes, the pump moving water before and for
// as long as given after.
func cycles(pumpMin float64) []piece {
	cycle := []piece{{2, 40, 1000, 29, 29}, {12, 1500, 1000, 35, 31}, {pumpMin, 40, 1000, 30, 30}, {20 - pumpMin, 12, 0, 29, 28}}
	return append(append(append([]piece{{10, 12, 0, 28, 28}}, cycle...), cycle...), cycle...)
}

func TestWaterAtBothEndsOfARun(t *testing.T) {
	for _, every := range []time.Duration{10 * time.Second, time.Minute} {
		columns, end := course(dawn, every, cycles(5)...)
		runs := sumOf(columns, dawn, end, dawn, end).Sums.Runs
		require.Len(t, runs, 3)
		run := runs[1]
		require.True(t, run.Started && run.Stopped)
		assert.InDelta(t, 29, *run.Begin.FlowC, 0.01, "%v: as it circulated before", every)
		assert.InDelta(t, 29, *run.Begin.ReturnC, 0.01, every)
		assert.InDelta(t, 35, *run.End.FlowC, 0.01, "%v: the interval of the stop is left out", every)
		assert.InDelta(t, 31, *run.End.ReturnC, 0.01, every)
		assert.InDelta(t, 1000, *run.End.FlowLPH, 0.01, every)
		assert.InDelta(t, 34, *run.End.TargetC, 0.01, every)
		assert.InDelta(t, 4626, *run.End.HeatW, 20, "%v: 1 m³/h x 4 K x 1.157 kWh/(m³·K)", every)
		assert.InDelta(t, 15*60, run.AfterS, 60, every)
		assert.InDelta(t, 5*60, run.PumpedAfterS, 70, every)
		assert.InDelta(t, 12*60, run.Took.S, 60, every)
	}
}

func TestPumpStoodBeforeAStart(t *testing.T) {
	columns, end := course(dawn, 10*time.Second, piece{20, 12, 0, 22, 21}, piece{20, 1500, 1000, 35, 31}, piece{20, 12, 0, 22, 21})
	run := sumOf(columns, dawn, end, dawn, end).Sums.Runs[0]
	assert.InDelta(t, 35, *run.Begin.FlowC, 0.5, "what stood in the pipe tells nothing")
}

func TestGapsAreListedAndJoined(t *testing.T) {
	midnight := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	from := midnight.Add(-40 * time.Minute)
	columns, end := course(from, 10*time.Second, piece{20, 12, 0, 28, 28}, piece{40, 12, 0, 28, 28}, piece{20, 12, 0, 28, 28})
	silence := [2]int64{from.Add(20 * time.Minute).UnixMilli(), from.Add(60 * time.Minute).UnixMilli()}
	for c := range columns {
		first, last := 20*6, 60*6
		columns[c].UnixMS = append(columns[c].UnixMS[:first:first], columns[c].UnixMS[last:]...)
		columns[c].Value = append(columns[c].Value[:first:first], columns[c].Value[last:]...)
	}
	merged := siteday.Merge([]siteday.Day{sumOf(columns, from, end, from, midnight), sumOf(columns, from, end, midnight, end)})
	// The plant never ran: nothing is known but that it may have.
	require.NotEmpty(t, merged.Gaps)
	found := merged.Gaps[len(merged.Gaps)-1]
	for _, g := range merged.Gaps {
		if g.From.UnixMilli() <= silence[1] && g.To.UnixMilli() >= silence[0] {
			found = g
		}
	}
	assert.LessOrEqual(t, found.From.UnixMilli(), silence[0])
	assert.GreaterOrEqual(t, found.To.UnixMilli(), silence[1])
	assert.Len(t, merged.Gaps, 1)
}

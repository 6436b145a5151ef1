package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// TestSlotsHoldTheWholeTime: samples every 70 s fall across the ends of slots; all
// time and all energy is in one slot or the other.
func TestSlotsHoldTheWholeTime(t *testing.T) {
	columns := []ingest.Column{{Channel: "power"}, {Channel: "flow_rate"}, {Channel: "flow_temp"}, {Channel: "return_temp"}, {Channel: "room_temp/hall"}}
	end := begin.Add(3 * time.Hour)
	for at := begin.Add(-time.Minute); at.Before(end.Add(2 * time.Minute)); at = at.Add(70 * time.Second) {
		values := []float64{12, 0, 28, 28, 20}
		if at.After(begin.Add(time.Hour)) {
			values = []float64{1500, 1000, 36, 31, 21}
		}
		for i := range columns {
			columns[i].UnixMS, columns[i].Value = append(columns[i].UnixMS, at.UnixMilli()), append(columns[i].Value, values[i])
		}
	}
	tr := trace.Build(columns, begin, end, trace.Options{})
	op := operation.Detect(tr)
	slots := watch.Observe(tr, op, begin, end)
	require.Len(t, slots, 36)
	heatJ, wantJ, settledS := 0.0, 0.0, 0.0
	for i, s := range slots {
		assert.Equal(t, begin.Add(time.Duration(i)*watch.SlotLength), s.From)
		assert.InDelta(t, 300, s.SecondsS.Total(), 1e-6, "slot %d", i)
		heatJ += s.Took.HeatJ
		settledS += s.Settled.S
	}
	for i, w := range tr.HeatW {
		wantJ += w * tr.DurS[i]
	}
	assert.InEpsilon(t, wantJ, heatJ, 1e-9)
	assert.InDelta(t, 115*60, settledS, 140, "two hours of heating less five minutes")
	assert.Zero(t, slots[5].RunS())
	assert.InDelta(t, 300, slots[20].RunS(), 1e-6)
	lph, ok := slots[20].Settled.FlowRate.Of()
	assert.True(t, ok)
	assert.InDelta(t, 1000, lph, 1e-6)
	c, ok := slots[20].Rooms["hall"].Of()
	assert.True(t, ok)
	assert.InDelta(t, 21, c, 1e-6)
}

// TestSlotsOfNothing: without readings all is unknown.
func TestSlotsOfNothing(t *testing.T) {
	tr := trace.Build([]ingest.Column{{Channel: "power", UnixMS: []int64{begin.UnixMilli()}, Value: []float64{12}}}, begin, begin.Add(time.Hour), trace.Options{})
	for _, s := range watch.Observe(tr, operation.Detect(tr), begin, begin.Add(time.Hour)) {
		assert.Zero(t, s.KnownS())
		assert.Zero(t, s.Took.S)
	}
}

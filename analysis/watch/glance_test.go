package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/cycling"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// settledFlow is heating that has gone on, at a flow rate.
func settledFlow(lph float64) func(*watch.Slot) {
	return func(s *watch.Slot) {
		s.Settled.S, s.Settled.FlowRate = slotS, mean(lph)
	}
}

// TestGlanceShowsTheLastThatIsKnown: two hours of heating, then only the outdoor
// sensor for half an hour, as when a plant has stopped and its flow is still.
func TestGlanceShowsTheLastThatIsKnown(t *testing.T) {
	limits := watch.Limits{Plant: cycling.Plant{MinimumFlowLPH: new(600.0)}, DesignRoomC: new(20.0), RoomSetC: map[string]float64{"kitchen": 21}}
	m := makeCase(limits).
		next(2, outdoor(-4), heating(40, 40), settledFlow(550), room("kitchen", 19.5), room("attic", 10), room("", 20.5)).
		next(0.5, outdoor(-5))
	m.Newest = map[ingest.Channel]time.Time{"outdoor_temp": after(2.4), "flow_temp": after(2)}
	g := watch.GlanceAt(&m.Case)
	assert.Equal(t, after(2.4), g.Newest)
	for what, pair := range map[string][2]*float64{
		"outdoor": {new(-5.0), g.OutdoorC}, "flow": {new(40.0), g.FlowC}, "return": {new(35.0), g.ReturnC},
		"flow rate": {new(550.0), g.FlowRateLPH}, "limit": {new(600.0), g.FlowLimitLPH},
		"the kitchen; nobody promised the attic anything": {new(1.5), g.RoomBelowSetK},
	} {
		require.NotNil(t, pair[1], what)
		assert.InDelta(t, *pair[0], *pair[1], 1e-9, what)
	}
}

func TestGlanceForgets(t *testing.T) {
	m := makeCase(watch.Limits{DesignRoomC: new(20.0)}).next(1, outdoor(-4), heating(40, 40), settledFlow(550), room("", 22))
	g := watch.GlanceAt(&m.Case)
	require.NotNil(t, g.RoomBelowSetK)
	assert.InDelta(t, -2, *g.RoomBelowSetK, 1e-9, "warmer than promised")
	assert.Nil(t, g.FlowLimitLPH, "the record asks for no flow")

	m.Now = after(3)
	g = watch.GlanceAt(&m.Case)
	assert.Nil(t, g.OutdoorC)
	assert.Nil(t, g.RoomBelowSetK)
	assert.NotNil(t, g.FlowRateLPH, "plants pause for hours")

	m.Now = after(8)
	assert.Equal(t, watch.Glance{}, watch.GlanceAt(&m.Case))
}

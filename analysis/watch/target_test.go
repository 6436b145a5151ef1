package watch_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/watch"
)

func TestTargetNotHeld(t *testing.T) {
	m := makeCase(watch.Limits{})
	m.next(3, outdoor(0), heating(34.5, 35)).next(2.5, outdoor(-3), heating(31, 38))
	found := m.found("target_not_held")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, watch.Attention, f.Severity)
	assert.Equal(t, after(3), f.Since)
	assert.Equal(t, "Flow of 31.0 °C stays 7.0 K below its target", f.Title)
	assert.Contains(t, f.Caution, "certified")
	m.next(6).next(1.5, outdoor(3), heating(35, 36)).next(8, outdoor(3), heating(35, 36))
	assert.False(t, m.found("target_not_held")[0].Ended(), "the night is still to come")
	m.next(10, outdoor(3), heating(35, 36))
	require.Len(t, m.found("target_not_held"), 1)
	assert.Equal(t, after(5.5), m.found("target_not_held")[0].Until)
}

func TestTargetNotHeldBelowTheDesignTemperatureIsInformation(t *testing.T) {
	m := makeCase(watch.Limits{DesignOutdoorC: new(-3.0)}).next(5, outdoor(-8), heating(40, 46))
	found := m.found("target_not_held")
	require.Len(t, found, 1)
	assert.Equal(t, watch.Info, found[0].Severity)
	assert.Contains(t, found[0].Causes[0], "-3 °C")
}

func TestTargetHeldOrNotKnown(t *testing.T) {
	rises := makeCase(watch.Limits{})
	for k := range 24 {
		rises.next(0.5, outdoor(0), heating(24+0.6*float64(k), 40))
	}
	for name, m := range map[string]*made{
		"a floor that is warming":  rises,
		"short for an hour":        makeCase(watch.Limits{}).next(1, outdoor(0), heating(30, 38)).next(20, outdoor(0), heating(37, 38)),
		"within the hysteresis":    makeCase(watch.Limits{}).next(40, outdoor(0), heating(35.5, 38)),
		"no target":                makeCase(watch.Limits{}).next(40, outdoor(0), state(operation.Heating), water(30, 25, 900)),
		"hot water at its summit":  makeCase(watch.Limits{}).next(40, outdoor(0), state(operation.HotWater), water(50, 45, 900)),
		"a short look at a gap":    makeCase(watch.Limits{}).next(0.5, outdoor(0), heating(30, 38)).next(40),
		"summer, the plant is off": makeCase(watch.Limits{}).next(40, outdoor(20), standing),
	} {
		assert.Empty(t, m.found("target_not_held"), name)
	}
}

func TestTargetNotHeldExplainsColdRooms(t *testing.T) {
	m := makeCase(promised("living", "bath")).next(20, outdoor(-5), heating(30, 40), room("living", 17), room("bath", 17))
	assert.Len(t, m.found("target_not_held"), 1)
	assert.Empty(t, m.found("room_cold"))
}

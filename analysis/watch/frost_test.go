package watch_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/watch"
)

var standing = state(operation.Off)

func TestFrostDangerIsUrgent(t *testing.T) {
	m := makeCase(watch.Limits{})
	m.next(6, outdoor(-4), heating(35, 35)).next(2.2, outdoor(-4), standing, water(12, 12, 0))
	found := m.found("frost_danger")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, watch.Urgent, f.Severity)
	assert.Equal(t, after(6), f.Since)
	assert.False(t, f.Ended())
	assert.Contains(t, f.Title, "-4 °C")
	assert.Contains(t, f.Caution, "local rules")

	m.next(2, outdoor(-4), heating(30, 35))
	found = m.found("frost_danger")
	require.Len(t, found, 1)
	assert.Equal(t, after(8+15.0/60), found[0].Until)
}

func TestFrostDangerComesSoonerTheColderTheWater(t *testing.T) {
	opens := func(outdoorC, waterC float64) (hours float64) {
		for hours = 0.25; hours < 30; hours += 0.25 {
			if len(makeCase(watch.Limits{}).next(hours, outdoor(outdoorC), standing, water(waterC, waterC, 0)).found("frost_danger")) > 0 {
				return hours
			}
		}
		return hours
	}
	assert.InDelta(t, 8, opens(1.9, 12), 0.5)
	assert.InDelta(t, 4, opens(0, 12), 0.25)
	assert.InDelta(t, 1.25, opens(-10, 12), 0.25)
	assert.InDelta(t, 0.25, opens(-1, 4), 0.25)
	assert.Greater(t, opens(0, 20), 10.0, "water that is warm at its sensor gets more time")
	assert.Equal(t, 30.0, opens(2.5, 4), "no frost")
}

func TestFrostDangerWithGlycolIsNoEmergency(t *testing.T) {
	m := makeCase(watch.Limits{Glycol: true}).next(5, outdoor(-4), standing, water(8, 8, 0))
	found := m.found("frost_danger")
	require.Len(t, found, 1)
	assert.Equal(t, watch.Attention, found[0].Severity)
	assert.Contains(t, textOf(found[0]), "glycol")
}

func TestFrostDangerKnowsRestFromFailure(t *testing.T) {
	for name, m := range map[string]*made{
		"the pump protects":    makeCase(watch.Limits{}).next(20, outdoor(-4), state(operation.Circulating), water(8, 7, 900)),
		"nothing is known":     makeCase(watch.Limits{}).next(20, outdoor(-4)),
		"no outdoor sensor":    makeCase(watch.Limits{}).next(20, standing, water(8, 8, 0)),
		"flow is not known":    makeCase(watch.Limits{}).next(20, outdoor(-4), standing),
		"off for some hours":   makeCase(watch.Limits{}).next(3, outdoor(0), standing, water(22, 22, 0)).next(1, outdoor(0), heating(30, 30)).next(3, outdoor(0), standing, water(22, 22, 0)),
		"set-back, warm house": makeCase(watch.Limits{RoomSetC: map[string]float64{"living": 20}}).next(9, outdoor(-3), standing, water(24, 24, 0), room("living", 20)),
		"mild":                 makeCase(watch.Limits{}).next(90, outdoor(4), standing, water(18, 18, 0)),
		"summer":               makeCase(watch.Limits{}).next(90, outdoor(18), standing, water(22, 22, 0)),
	} {
		assert.Empty(t, m.found("frost_danger"), name)
	}
}

func TestFrostDangerLastsThroughWhatIsNotKnown(t *testing.T) {
	m := makeCase(watch.Limits{}).next(3, outdoor(-4), standing, water(8, 8, 0)).next(10)
	found := m.found("frost_danger")
	require.Len(t, found, 1)
	assert.False(t, found[0].Ended())
	m.next(3, outdoor(10), standing, water(12, 12, 0))
	require.Len(t, m.found("frost_danger"), 1)
	assert.Equal(t, after(3), m.found("frost_danger")[0].Until, "mild weather ends it")
}

func TestFrostDangerExplainsColdRooms(t *testing.T) {
	m := makeCase(watch.Limits{RoomSetC: map[string]float64{"living": 20}})
	m.next(5, outdoor(-4), heating(35, 35), room("living", 20)).next(30, outdoor(-4), standing, water(8, 8, 0), room("living", 16))
	assert.Len(t, m.found("frost_danger"), 1)
	assert.Empty(t, m.found("room_cold"))
}

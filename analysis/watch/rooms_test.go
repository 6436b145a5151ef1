package watch_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/watch"
)

func promised(places ...string) watch.Limits {
	l := watch.Limits{RoomSetC: map[string]float64{}}
	for _, place := range places {
		l.RoomSetC[place] = 20
	}
	return l
}

func TestRoomColdWhileThePlantHeats(t *testing.T) {
	m := makeCase(promised("living", "bath"))
	m.next(6, outdoor(2), heating(35, 35), room("living", 20), room("bath", 20.2))
	m.next(7, outdoor(-5), heating(38, 38), room("living", 20), room("bath", 18.2))
	found := m.found("room_cold")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, "room_cold/bath", f.Kind)
	assert.Equal(t, watch.Attention, f.Severity)
	assert.Equal(t, after(6), f.Since)
	assert.Equal(t, "Bath is 1.8 K below its 20.0 °C", f.Title)
	assert.Contains(t, f.Causes[0], "too little water", "one room alone: its valves come first")

	m.next(8, outdoor(4), heating(35, 35), room("living", 20), room("bath", 20))
	require.Len(t, m.found("room_cold"), 1)
	assert.Equal(t, after(13), m.found("room_cold")[0].Until)
}

func TestAllRoomsColdAreOneFinding(t *testing.T) {
	m := makeCase(promised("living", "bath"))
	m.next(7, outdoor(-5), heating(38, 38), room("living", 20), room("bath", 18.5))
	m.next(12, outdoor(-9), heating(33, 33), room("living", 17.5), room("bath", 16))
	found := m.found("room_cold")
	require.Len(t, found, 2)
	assert.Equal(t, "room_cold/bath", found[0].Kind)
	assert.Equal(t, after(7), found[0].Until, "the house takes over")
	assert.Equal(t, "room_cold", found[1].Kind)
	assert.Equal(t, after(7), found[1].Since)
	assert.Contains(t, found[1].Title, "bath by 4.0 K")
	assert.Contains(t, found[1].Causes[0], "curve", "the flow holds its target")

	m.next(8, outdoor(-5), heating(38, 38), room("living", 20), room("bath", 18.5))
	found = m.found("room_cold")
	require.Len(t, found, 3)
	assert.Equal(t, "room_cold/bath", found[2].Kind, "what stays cold is told again")
	assert.Equal(t, after(19), found[2].Since)
	assert.False(t, found[2].Ended())
}

func TestRoomColdNamesWhatThePlantDid(t *testing.T) {
	resting := makeCase(watch.Limits{DesignRoomC: new(21.0)}).next(20, outdoor(1), state(operation.Circulating), room("", 18))
	found := resting.found("room_cold")
	require.Len(t, found, 1)
	assert.Equal(t, "room_cold", found[0].Kind)
	assert.Equal(t, "The room is 3.0 K below its 21.0 °C", found[0].Title)
	assert.Contains(t, textOf(found[0]), "the plant rests")
}

func TestRoomColdBelowTheDesignTemperatureIsInformation(t *testing.T) {
	l := promised("living")
	l.DesignOutdoorC = new(-8.0)
	m := makeCase(l).next(10, outdoor(-11), heating(45, 45), room("living", 19.6)).next(7, outdoor(-6), heating(44, 44), room("living", 18))
	found := m.found("room_cold")
	require.Len(t, found, 1)
	assert.Equal(t, watch.Info, found[0].Severity)
	assert.Contains(t, found[0].Causes[0], "-8 °C")
}

func TestRoomColdLeavesOrdinaryColdAlone(t *testing.T) {
	for name, m := range map[string]*made{
		"set-back at night": func() *made {
			m := makeCase(promised("living"))
			for range 4 {
				m.next(8, outdoor(-2), standing, water(24, 24, 0), room("living", 18)).
					next(3, outdoor(-2), heating(40, 40), room("living", 18.6)).
					next(13, outdoor(2), heating(36, 36), room("living", 20))
			}
			return m
		}(),
		"first days of a cold house": func() *made {
			m := makeCase(promised("living"))
			for k := range 80 {
				m.next(1, outdoor(0), heating(40, 40), room("living", math.Min(20, 10+0.12*float64(k))))
			}
			return m
		}(),
		"just below":             makeCase(promised("living")).next(60, outdoor(-2), heating(35, 35), room("living", 19.2)),
		"spring without heating": makeCase(promised("living")).next(60, outdoor(16), standing, room("living", 18.5)),
		"not promised":           makeCase(promised("living")).next(60, outdoor(-2), heating(35, 35), room("garage", 8)),
		"no room sensor":         makeCase(promised("living")).next(60, outdoor(-2), heating(35, 35)),
		"no outdoor sensor":      makeCase(promised("living")).next(60, heating(35, 35), room("living", 15)),
		"known for an hour":      makeCase(promised("living")).next(1, outdoor(-2), heating(35, 35), room("living", 15)).next(60, outdoor(-2)),
	} {
		assert.Empty(t, m.found("room_cold"), name)
	}
}

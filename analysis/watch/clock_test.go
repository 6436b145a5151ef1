package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/sensor"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

var heard, light = []ingest.Channel{"flow_temp"}, []ingest.Channel{"irradiance"}

func TestClockThatIsWrong(t *testing.T) {
	m := makeCase(watch.Limits{}).next(30, outdoor(3))
	m.Checks = []sensor.Suspicion{
		{Kind: sensor.ClockOffset, Channels: heard, Since: after(5), Until: after(24), Size: 2, Unit: "h"},
		{Kind: sensor.ClockOffset, Channels: light, Since: after(24), Until: after(30), Size: 1.9, Unit: "h"},
	}
	found := m.found("clock_wrong")
	require.Len(t, found, 1, "two signs of one clock")
	assert.Equal(t, after(5), found[0].Since)
	assert.False(t, found[0].Ended())
	assert.Equal(t, "The publisher's clock is ahead by 2.0 hours", found[0].Title)
	m.next(80, outdoor(3))
	assert.Equal(t, after(30), m.found("clock_wrong")[0].Until)
}

func TestClockThatJumps(t *testing.T) {
	m := makeCase(watch.Limits{}).next(30, outdoor(3))
	m.Checks = []sensor.Suspicion{{Kind: sensor.ClockJumps, Channels: heard, Since: after(5), Until: after(24), Size: 25, Unit: "min"}}
	found := m.found("clock_wrong")
	require.Len(t, found, 1)
	assert.Equal(t, "The publisher's clock jumps, by up to 25 minutes", found[0].Title)
}

func TestReadingsThatArriveLate(t *testing.T) {
	m := spoken(watch.Limits{}, 20, map[ingest.Channel][]float64{"flow_temp": {0, 18}, "power": {0, 18}}, time.Minute)
	m.Behind = &watch.Behind{Lag: 2 * time.Hour, Since: after(16)}
	assert.Empty(t, m.found("silent"), "they do arrive")
	found := m.found("clock_wrong")
	require.Len(t, found, 1)
	assert.Equal(t, after(16), found[0].Since)
	assert.Equal(t, "Readings are 2 hours old when they arrive: the publisher's clock is behind", found[0].Title)
	m.Behind.Since = after(17.5)
	assert.Empty(t, m.found("clock_wrong"), "a backlog may be why")
}

package instrument_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/rig/instrument"
)

func random() *rand.Rand { return rand.New(rand.NewPCG(1, 2)) }

// Source: the step response of a first-order lag, 1 - 1/e after one time
// constant.
func TestLagFollowsAStep(t *testing.T) {
	m := instrument.NewMeter(instrument.Spec{Interval: time.Minute, LagS: 60}, 2*time.Second, 0)
	m.Feed(0)
	for range 30 {
		m.Feed(10)
	}
	got, publish := m.Read(60_000, random())
	assert.True(t, publish)
	assert.InDelta(t, 10*(1-1/math.E), got, 1e-9)
}

// Source: the definition of standard deviation.
func TestNoiseHasItsSpread(t *testing.T) {
	m := instrument.NewMeter(instrument.Spec{Interval: time.Second, Noise: 0.5, NoiseShare: 0.01, Offset: 2}, time.Second, 0)
	m.Feed(98)
	sum, squares, n, r := 0.0, 0.0, 20000.0, random()
	for range int(n) {
		v, _ := m.Read(0, r)
		sum += v
		squares += (v - 100) * (v - 100)
	}
	assert.InDelta(t, 100, sum/n, 0.05)
	assert.InDelta(t, 1.5, math.Sqrt(squares/n), 0.03)
}

func TestRoundGivesWhatPeopleWrite(t *testing.T) {
	for _, c := range []struct{ value, resolution, want float64 }{
		{35.249, 0.1, 35.2}, {35.25001, 0.1, 35.3}, {0.07 * 3, 0.01, 0.21}, {1234, 50, 1250}, {7.3, 0.25, 7.25}, {3.14159, 0, 3.14159},
	} {
		assert.Equal(t, c.want, instrument.Round(c.value, c.resolution))
	}
	assert.False(t, math.Signbit(instrument.Round(-0.02, 0.1)), "no negative zero")
}

func TestCutOffAndGain(t *testing.T) {
	m := instrument.NewMeter(instrument.Spec{Interval: time.Second, Gain: 2, Below: 40}, time.Second, 0)
	m.Feed(19)
	v, _ := m.Read(0, random())
	assert.Zero(t, v)
	m.Feed(21)
	v, _ = m.Read(0, random())
	assert.InDelta(t, 42, v, 0)
}

func TestOnChangeSpeaksUpAtTheHeartbeat(t *testing.T) {
	s := instrument.Spec{Interval: time.Second, Resolution: 1, OnChange: true, Heartbeat: time.Minute}
	m := instrument.NewMeter(s, time.Second, 0)
	published := func(atMS int64, value float64) bool {
		m.Feed(value)
		_, publish := m.Read(atMS, random())
		return publish
	}
	assert.True(t, published(0, 5))
	assert.False(t, published(1000, 5.2))
	assert.True(t, published(2000, 6))
	assert.False(t, published(61_000, 6))
	assert.True(t, published(62_000, 6))
	assert.Equal(t, time.Minute, s.Silence())
	assert.Equal(t, time.Second, instrument.Spec{Interval: time.Second}.Silence())
}

func TestScheduleKeepsItsRhythmWhenLate(t *testing.T) {
	m := instrument.NewMeter(instrument.Spec{Interval: 10 * time.Second}, time.Second, 5000)
	assert.EqualValues(t, 5000, m.DueMS())
	m.Schedule(700)
	assert.EqualValues(t, 15_700, m.DueMS())
	assert.EqualValues(t, 25_000, m.AfterMS())
	m.Schedule(0)
	assert.EqualValues(t, 25_000, m.DueMS())
}

func TestOutageTakesItsShare(t *testing.T) {
	r := random()
	o := instrument.NewOutage(0.1, time.Minute, 0, r)
	down, n := 0, 2_000_000
	for i := range n {
		if o.Down(int64(i)*1000, r) {
			down++
		}
	}
	assert.InDelta(t, 0.1, float64(down)/float64(n), 0.005)
	never := instrument.NewOutage(0, time.Minute, 0, r)
	assert.False(t, never.Down(1e15, r))
}

func TestValidate(t *testing.T) {
	require.NoError(t, instrument.Spec{Interval: time.Second}.Validate())
	require.ErrorContains(t, instrument.Spec{}.Validate(), "interval")
	require.ErrorContains(t, instrument.Spec{Interval: time.Second, Noise: -1}.Validate(), "negative")
}

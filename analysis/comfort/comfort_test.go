package comfort_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/comfort"
	"coldweek/analysis/playtest"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

func setTo(setC float64) func(string) *float64 {
	return func(string) *float64 { return &setC }
}

// TestHoursBelowSet by hand: ten hours at 19.95 °C, five at 19.45 and one at
// 18.05; half a kelvin below 20.0 is allowed.
func TestHoursBelowSet(t *testing.T) {
	h := siteday.NewHistogram(0.1)
	var mean siteday.Mean
	for _, at := range []struct{ c, hours float64 }{{19.95, 10}, {19.45, 5}, {18.05, 1}} {
		h.Add(at.c, at.hours*3600)
		mean.ValueS, mean.S = mean.ValueS+at.c*at.hours*3600, mean.S+at.hours*3600
	}
	s := &siteday.Sums{RoomTemps: map[string]siteday.Histogram{"hall": h}, Rooms: map[string]siteday.Mean{"hall": mean}}
	check := func(setC, want float64) {
		t.Helper()
		r := comfort.Of(s, setTo(setC))
		require.Len(t, r.Rooms, 1)
		assert.InDelta(t, want, *r.Rooms[0].HoursBelowSet, 1e-9)
	}
	check(20.0, 6)
	check(19.9, 1)
	check(21.0, 16)
	check(19.95, 3.5) // 19.45 is half way through its bin

	room := comfort.Of(s, setTo(20)).Rooms[0]
	assert.Equal(t, "hall", room.Place)
	assert.InDelta(t, (199.5+97.25+18.05)/16, room.MeanC, 1e-9)
	assert.InDelta(t, 18.08, room.P5C, 1e-9, "eight tenths of the coldest hour are a twentieth of all")
	assert.InDelta(t, 16, room.KnownHours, 1e-9)
	held, known := room.Held()
	assert.True(t, known)
	assert.False(t, held)

	unset := comfort.Of(s, func(string) *float64 { return nil }).Rooms[0]
	assert.Nil(t, unset.HoursBelowSet)
	_, known = unset.Held()
	assert.False(t, known)
}

// TestColdestHours by hand: 48 hours, the second day 10 K colder and the rooms
// 1 K.
func TestColdestHours(t *testing.T) {
	var hours []siteday.Hour
	for h := range 48 {
		outdoorC, roomC := 5.0, 21.0
		if h >= 24 {
			outdoorC, roomC = -5-float64(h)/100, 20-float64(h%2)/2
		}
		hours = append(hours, siteday.Hour{S: 3600, CoveredS: 3600, RunS: 1800, HotWaterS: 360, SpaceJ: 4000 * 3600,
			Outdoor: siteday.Mean{ValueS: outdoorC * 3600, S: 3600}, Room: siteday.Mean{ValueS: roomC * 3600, S: 3600}})
	}
	c := comfort.Of(&siteday.Sums{Hours: hours}, setTo(20)).Coldest
	require.NotNil(t, c)
	assert.Equal(t, 24, c.Hours)
	assert.InDelta(t, -5.355, c.OutdoorC, 1e-9)
	assert.InDelta(t, -5.47, c.LowestC, 1e-9)
	assert.InDelta(t, 19.75, c.RoomC, 1e-9)
	assert.InDelta(t, 19.5, c.LowestRoomC, 1e-9)
	assert.InDelta(t, 21, c.OtherwiseC, 1e-9)
	assert.InDelta(t, 4000, c.SpaceHeatW, 1e-9)
	assert.InDelta(t, 0.5, c.RunShare, 1e-9)
	assert.InDelta(t, 0.1, c.HotWaterShare, 1e-9)

	alone := comfort.Of(&siteday.Sums{Hours: hours[:2]}, setTo(20)).Coldest
	assert.Equal(t, 2, alone.Hours)
	assert.True(t, math.IsNaN(alone.OtherwiseC))
	assert.Nil(t, comfort.Of(&siteday.Sums{}, setTo(20)).Coldest)
}

// TestRoomsAgainstTruth: the simulated house has one room temperature, which its
// sensors see with noise; a machine far too small lets it get cold.
func TestRoomsAgainstTruth(t *testing.T) {
	const days = 7
	for _, ratedKW := range []float64{8, 3.5} {
		p := rig.Houses()[0]
		p.HeatPump.RatedHeatKW = ratedKW
		p.HeatPump.MinimumHeatKW = min(p.HeatPump.MinimumHeatKW, ratedKW/3)
		p.Metering.Interval = time.Minute
		p.Metering.Quantities = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp, ingest.RoomTemp}
		played := playtest.Play(t, p, time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC), days)
		sums := siteday.Merge(played.Days)
		report, truth := comfort.Of(&sums, setTo(p.House.RoomSetC)), played.Truth
		require.Len(t, report.Rooms, 3)
		meanC := 0.0
		for _, room := range report.Rooms {
			meanC += room.MeanC / 3
			held, known := room.Held()
			assert.True(t, known)
			if room.Place == "living" || ratedKW < 5 { // the others are cooler by some tenths, see ingest/rig
				assert.Equal(t, ratedKW > 5, held, "%s at %g kW: %.1f h below", room.Place, ratedKW, *room.HoursBelowSet)
			}
			assert.InDelta(t, days*24, room.KnownHours, 0.5)
		}
		t.Logf("%g kW: mean of rooms %.2f °C, truth %.2f; coldest hours %+v", ratedKW, meanC, truth.Parameters.RoomMeanC, *report.Coldest)
		assert.InDelta(t, truth.Parameters.RoomMeanC, meanC, 0.2)
		coldestDayC, roomThenC := math.Inf(1), 0.0
		for _, day := range truth.Days[:days] {
			if day.OutdoorC < coldestDayC {
				coldestDayC, roomThenC = day.OutdoorC, day.RoomC
			}
		}
		assert.Less(t, report.Coldest.OutdoorC, coldestDayC+0.1, "no day is colder than the coldest 24 hours")
		assert.InDelta(t, roomThenC, report.Coldest.RoomC, 0.6)
	}
}

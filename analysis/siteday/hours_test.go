package siteday_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

func TestHoursOfTheWorkedDay(t *testing.T) {
	s := workedDay().Sums
	require.Len(t, s.Hours, 24)
	for k, h := range s.Hours {
		assert.InDelta(t, 3600, h.S, 0)
		assert.InDelta(t, 3600, h.CoveredS, 1e-9)
		outdoor, ok := h.Outdoor.Of()
		require.True(t, ok)
		switch {
		case k < 5: // the sixth ends with the stop
			// 1 m³/h at 5 K and EN 1434's k of 1.155586 kWh/(m³·K) at 35/30 (testdata/fluid).
			assert.InDelta(t, 5.778*3.6e6, h.SpaceJ, 0.001*3.6e6)
			assert.InDelta(t, 1.54*3.6e6, h.ElectricityJ, 1)
			assert.InDelta(t, 3600, h.RunS, 1e-9)
			assert.InDelta(t, 0, outdoor, 1e-9)
		case k >= 13:
			assert.Zero(t, h.SpaceJ)
			assert.Zero(t, h.RunS)
			assert.Zero(t, h.Steady.S)
			assert.InDelta(t, 8, outdoor, 1e-9)
		}
	}
	first, second := s.Hours[0].Steady, s.Hours[1].Steady
	assert.InDelta(t, 45*60, first.S, 61, "the first quarter of an hour does not count")
	assert.InDelta(t, 3600, second.S, 1e-9)
	for _, c := range []struct {
		mean siteday.Mean
		want float64
	}{{second.Flow, 35}, {second.Return, 30}, {second.Outdoor, 0}} {
		got, ok := c.mean.Of()
		require.True(t, ok)
		assert.InDelta(t, c.want, got, 1e-9)
	}
	_, known := second.Target.Of()
	assert.False(t, known)
}

// The hours of the recorded day add up to the day, whose sums are checked
// against figures computed elsewhere in TestTelemetryDay.
func TestHoursAddUp(t *testing.T) {
	midnight := time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)
	tr := trace.Build(telemetryDay(t, midnight), midnight, midnight.AddDate(0, 0, 1), trace.Options{})
	s := siteday.Sum(tr, operation.Detect(tr), "2026-01-14", midnight, midnight.AddDate(0, 0, 1)).Sums
	var heatJ, electricityJ, coveredS, runS, hotWaterS, defrostS float64
	for _, h := range s.Hours {
		heatJ += h.SpaceJ + h.CirculatedJ + h.HotWaterJ
		electricityJ, coveredS, runS = electricityJ+h.ElectricityJ, coveredS+h.CoveredS, runS+h.RunS
		hotWaterS, defrostS = hotWaterS+h.HotWaterS, defrostS+h.DefrostS
		assert.LessOrEqual(t, h.Steady.HeatJ, h.SpaceJ+1)
	}
	assert.InEpsilon(t, s.HeatJ.Total(), heatJ, 1e-9)
	assert.InEpsilon(t, s.ElectricityJ.Total(), electricityJ, 1e-9)
	assert.InEpsilon(t, s.CoveredS, coveredS, 1e-9)
	assert.InEpsilon(t, s.RunS(), runS, 1e-9)
	assert.InEpsilon(t, s.SecondsS[operation.HotWater], hotWaterS, 1e-9)
	assert.InEpsilon(t, s.SecondsS[operation.Defrost], defrostS, 1e-9)
}

func TestADayOfClockChangeHasItsOwnHours(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	for date, want := range map[int]int{28: 24, 29: 23} { // 2026-03-29: 02:00 becomes 03:00
		from, to := time.Date(2026, 3, date, 0, 0, 0, 0, berlin), time.Date(2026, 3, date+1, 0, 0, 0, 0, berlin)
		columns := []ingest.Column{{Channel: "outdoor_temp"}, {Channel: "room_temp/hall"}}
		for at := from; !at.After(to); at = at.Add(10 * time.Minute) {
			for c := range columns {
				columns[c].UnixMS = append(columns[c].UnixMS, at.UnixMilli())
				columns[c].Value = append(columns[c].Value, 20.04)
			}
		}
		tr := trace.Build(columns, from, to, trace.Options{})
		s := siteday.Sum(tr, operation.Detect(tr), "", from, to).Sums
		require.Len(t, s.Hours, want)
		room, ok := s.Hours[want-1].Room.Of()
		require.True(t, ok)
		assert.InDelta(t, 20.04, room, 1e-9)
		p5, ok := s.RoomTemps["hall"].Quantile(0.05)
		require.True(t, ok)
		assert.InDelta(t, 20.0, p5, 0.1, "to the width of a bin")
		assert.InDelta(t, float64(want)*3600, s.RoomTemps["hall"].Total(), 1e-6)
	}
}

func TestCylinderHighOfDaysIsTheHighest(t *testing.T) {
	var days []siteday.Day
	for _, c := range []float64{52, 61, 48} {
		from := time.Date(2026, 1, 14+len(days), 0, 0, 0, 0, time.UTC)
		var columns []ingest.Column
		for _, ch := range []ingest.Channel{"flow_temp", "return_temp", "flow_rate", "power"} {
			columns = append(columns, ingest.Column{Channel: ch})
		}
		cylinder := ingest.Column{Channel: "cylinder_temp"}
		for s := int64(0); s < 86_400; s += 60 {
			for i := range columns {
				columns[i].UnixMS, columns[i].Value = append(columns[i].UnixMS, from.UnixMilli()+s*1000), append(columns[i].Value, 20)
			}
			value := c - 10
			if s > 40_000 && s < 41_000 {
				value = c
			}
			cylinder.UnixMS, cylinder.Value = append(cylinder.UnixMS, from.UnixMilli()+s*1000), append(cylinder.Value, value)
		}
		tr := trace.Build(append(columns, cylinder), from, from.AddDate(0, 0, 1), trace.Options{})
		day := siteday.Sum(tr, operation.Detect(tr), from.Format(time.DateOnly), from, from.AddDate(0, 0, 1))
		require.NotNil(t, day.Sums.CylinderHighC)
		assert.InDelta(t, c, *day.Sums.CylinderHighC, 1e-6)
		days = append(days, day)
	}
	total := siteday.Merge(days)
	assert.InDelta(t, 61, *total.CylinderHighC, 1e-6)
	assert.InDelta(t, 43.8, total.Cylinder.ValueS/total.Cylinder.S, 0.3)
}

package sensor_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

var january = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

// watched plays a plant and looks at its days each evening, until a kind is
// suspected; it returns the suspicions and the last day's number.
func watched(t *testing.T, p rig.Plant, days int, kind sensor.Kind) ([]sensor.Suspicion, int) {
	t.Helper()
	var sums []siteday.Day
	var found []sensor.Suspicion
	last := -1
	replay(t, p, january, days, func(d seenDay) {
		if last >= 0 {
			return
		}
		sums = append(sums, d.sum())
		if all := sensor.CheckDays(sums, known(p)); slices.Contains(kinds(all), kind) {
			found, last = all, d.n
		}
	})
	return found, last
}

// everything is the plant with all that it can publish, every minute.
func everything(seed uint64, troubles ...rig.Trouble) rig.Plant {
	p := rig.Random(seed)
	p.Metering.Interval, p.Metering.Quantities, p.Troubles = time.Minute, nil, troubles
	return p
}

// Source: the rig's registers count 1.15 times the truth from six in the
// morning of the third day. The day itself shows three quarters of it, which is
// enough for electricity; heat may take one more where water circulates without
// heat most of the day, and a pair of sensors may be wrong with it.
func TestRegisterThatDisagreesIsFoundOnItsDay(t *testing.T) {
	for seed := uint64(1); seed <= uint64(min(12, 2*fewPlants())); seed++ {
		p := everything(seed, rig.Trouble{Kind: rig.RegisterDisagrees, At: january.Add(54 * time.Hour)})
		var sums []siteday.Day
		var firstDay [2]int
		replay(t, p, january, 4, func(d seenDay) {
			sums = append(sums, d.sum())
			for _, s := range sensor.CheckDays(sums, known(p)) {
				assert.Equal(t, sensor.RegisterDisagrees, s.Kind, p.ID)
				i := slices.Index([]ingest.Channel{"electricity_register", "heat_register"}, s.Channels[0])
				if firstDay[i] > 0 {
					continue
				}
				firstDay[i] = d.n
				assert.InDelta(t, 1.11+0.04*float64(d.n-2), s.Size, 0.03, "%s: %v", p.ID, s.Channels)
				assert.Contains(t, s.Detail, fmt.Sprintf("since 2026-01-0%d", d.n+5))
			}
		})
		assert.Equal(t, 2, firstDay[0], "electricity of %s", p.ID)
		assert.Contains(t, []int{2, 3}, firstDay[1], "heat of %s", p.ID)
	}
}

// The size of later days is not watered down by the day of the onset.
func TestRegisterSizeOfWholeDays(t *testing.T) {
	p := everything(5, rig.Trouble{Kind: rig.RegisterDisagrees, At: january.Add(54 * time.Hour)})
	var sums []siteday.Day
	replay(t, p, january, 5, func(d seenDay) { sums = append(sums, d.sum()) })
	found := sensor.CheckDays(sums, known(p))
	require.Len(t, found, 2)
	assert.InDelta(t, 15, found[0].Effect.HeatPct, 3, "heat is scaled to its register")
	assert.InDelta(t, 0, found[0].Effect.SPFPct, 3, "both by the same")
	for _, s := range found {
		assert.InDelta(t, 1.15, s.Size, 0.015, s.Channels)
		assert.True(t, s.Low < 1.15 && 1.15 < s.High)
	}
	// What agrees again is no news.
	assert.Empty(t, sensor.CheckDays(sums[:2], known(p)))
}

// Source: the definition. Registers of one day, 40 kWh of readings.
func TestRegisterUnits(t *testing.T) {
	day := func(riseKWh float64) []siteday.Day {
		s := siteday.Sums{ElectricityRegister: siteday.Register{RiseKWh: riseKWh, IntegralKWh: 40}}
		s.SecondsS[operation.Heating] = 86400
		return []siteday.Day{{Date: "2026-01-05", From: january, To: january.AddDate(0, 0, 1), Sums: s}}
	}
	for riseKWh, words := range map[float64]string{40_000: "Wh taken for kWh", 0.04: "MWh taken for kWh", 144: "MJ taken for kWh", 48: "spot check"} {
		found := sensor.CheckDays(day(riseKWh), sensor.Known{})
		require.Len(t, found, 1)
		assert.Contains(t, found[0].Detail, words)
		assert.InDelta(t, 100*(40/riseKWh-1), found[0].Effect.SPFPct, 1e-6)
		assert.Zero(t, found[0].Effect.HeatPct)
	}
	assert.Empty(t, sensor.CheckDays(day(41.5), sensor.Known{}))
	assert.Empty(t, sensor.CheckDays(day(0), sensor.Known{})[1:], "once")
}

// Source: the rig's truth. The sensor drifts 0.3 K a day from the eleventh day
// on; two witnesses find it before it has gone 5 K.
func TestDriftingOutdoorSensorHasTwoWitnesses(t *testing.T) {
	var table strings.Builder
	onsetDay := 10
	for _, kPerDay := range []float64{0.3, -0.3} {
		for seed := uint64(1); seed <= uint64(min(12, fewPlants())); seed++ {
			p := everything(seed, rig.Trouble{Kind: rig.OutdoorDrifting, Size: kPerDay, At: january.AddDate(0, 0, onsetDay)})
			found, day := watched(t, p, 30, sensor.Drifting)
			if !assert.Equal(t, []sensor.Kind{sensor.Drifting}, kinds(found), p.ID) {
				continue
			}
			trueK := kPerDay * (float64(day-onsetDay) + 0.5)
			s := found[0]
			assert.True(t, s.Low <= trueK && trueK <= s.High, "%s: %.2f K in %.2f to %.2f", p.ID, trueK, s.Low, s.High)
			assert.InDelta(t, onsetDay, s.Since.Sub(january).Hours()/24, 5, p.ID)
			fmt.Fprintf(&table, "%+.1f K/d %s: after %2d days, %+.1f K (%+.1f to %+.1f), truly %+.1f\n", kPerDay, p.ID, day-onsetDay+1, s.Size, s.Low, s.High, trueK)
		}
	}
	t.Log(table.String())
}

// Source: the rig's truth. Where charging is bound to hours, a clock that is
// behind brings it before them. One that is ahead by less than the hours are
// long cannot be seen.
func TestHotWaterHoursShowAClockBehind(t *testing.T) {
	n := 0
	for seed := uint64(1); seed <= 16; seed++ {
		p := everything(seed, rig.Trouble{Kind: rig.ClockOffset, Size: -2})
		if len(p.HotWater.Schedule) == 0 || n == fewPlants() {
			continue
		}
		n++
		found, day := watched(t, p, 8, sensor.ClockOffset)
		if assert.Equal(t, []sensor.Kind{sensor.ClockOffset}, kinds(found), p.ID) {
			s := found[0]
			assert.True(t, s.Low <= -2 && -2 <= s.High && s.High < 0, "%s: %+v", p.ID, s)
			t.Logf("%s: after %d days, %.1f h (%.1f to %.1f)", p.ID, day+1, s.Size, s.Low, s.High)
		}
	}
	assert.NotZero(t, n)
}

// Source: the rig's truth. Other troubles of plants and sensors move neither
// witness of the outdoor sensor, or move them apart. Registers agree as long as
// flow, temperatures, power and clock are right.
func TestOtherTroublesAreNoDrift(t *testing.T) {
	if !long() {
		t.Skip("takes minutes: set COLDWEEK_ALL=1")
	}
	disturbs := map[rig.Kind]bool{ // registers, truly
		rig.RegisterDisagrees: true, rig.SwappedSensors: true, rig.SensorOffset: true, rig.WrongFlowUnit: true, rig.WrongPowerUnit: true, rig.ClockJumps: true,
	}
	moves := map[rig.Kind]bool{rig.OutdoorDrifting: true, rig.OutdoorStuck: true} // the outdoor reading, truly
	for _, kind := range rig.Kinds() {
		if moves[kind.Kind] || kind.Kind == rig.ClockJumps {
			continue
		}
		for seed := uint64(1); seed <= 6; seed++ {
			p := everything(seed, rig.Trouble{Kind: kind.Kind, At: january.AddDate(0, 0, 12)})
			var sums []siteday.Day
			replay(t, p, january, 28, func(d seenDay) {
				sums = append(sums, d.sum())
				found := kinds(sensor.CheckDays(sums, known(p)))
				assert.NotContains(t, found, sensor.Drifting, "%s at %s, day %d", kind.Kind, p.ID, d.n)
				if !disturbs[kind.Kind] {
					assert.Empty(t, found, "%s at %s, day %d", kind.Kind, p.ID, d.n)
				}
			})
		}
	}
}

package rig_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/instrument"
)

// ideal meters: no lag, no noise, no rounding, every step.
func ideal(quantities ...ingest.Quantity) rig.Metering {
	m := rig.Metering{Quantities: quantities, Specs: map[ingest.Quantity]instrument.Spec{}}
	for _, q := range quantities {
		m.Specs[q] = instrument.Spec{Interval: 2 * time.Second}
	}
	return m
}

// Source: EN 1434-1 heat coefficient for water, 4.15 to 4.18 MJ/(m³ K) between
// 25 and 60 °C (testdata/fluid/heat_coefficient.csv): heat from perfect readings
// is the truth's.
func TestPerfectReadingsGiveTheTruth(t *testing.T) {
	p := rig.Houses()[0]
	p.Metering = ideal(ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power)
	out := play(t, p, winter, 1)
	flow, back, rate := out.readings["flow_temp"], out.readings["return_temp"], out.readings["flow_rate"]
	heatKWh := 0.0
	for i := range flow {
		kWhPerM3K := 1.1525 - 0.0002*(flow[i].Value-40)
		heatKWh += kWhPerM3K * rate[i].Value / 1000 * (flow[i].Value - back[i].Value) * 2 / 3600
	}
	truth := out.truth
	assert.InEpsilon(t, truth.Heat.NetKWh+truth.Heat.CirculatingKWh, heatKWh, 0.005)
	assert.InEpsilon(t, truth.Electricity.TotalKWh, mean(values(out.readings["power"]))*24/1000, 1e-3)
}

// Source: what a register is: its difference is the energy between.
func TestRegistersCountTheTruth(t *testing.T) {
	p := good(0, 92)
	p.Metering.HeatRegisterBothWays = true
	difference := func(out played, c ingest.Channel) float64 {
		r := values(out.readings[c])
		return r[len(r)-1] - r[0]
	}
	bothWays := play(t, p, winter, 2)
	heat := bothWays.truth.Heat
	assert.InDelta(t, heat.NetKWh+heat.CirculatingKWh, difference(bothWays, "heat_register"), 0.3)
	assert.InDelta(t, bothWays.truth.Electricity.TotalKWh, difference(bothWays, "electricity_register"), 0.1)

	p.Metering.HeatRegisterBothWays = false
	forward := play(t, p, winter, 2)
	assert.Greater(t, difference(forward, "heat_register"), heat.NetKWh+heat.CirculatingKWh+0.9*heat.DefrostDrawnKWh)
}

func TestRegistersResetAndRollOver(t *testing.T) {
	p := dry(0)
	p.Metering.RegisterStartKWh, p.Metering.RegisterRollsOverKWh = 9990, 10000
	p.Metering.RegisterResetAfter = 36 * time.Hour
	falls := []float64{}
	r := play(t, p, winter, 2).readings["electricity_register"]
	for i := 1; i < len(r); i++ {
		if r[i].Value < r[i-1].Value {
			falls = append(falls, r[i-1].Value)
		}
	}
	require.Len(t, falls, 2)
	assert.InDelta(t, 10000, falls[0], 0.1, "rolls over")
	assert.Less(t, falls[1], 100.0, "is reset")
}

func TestReadingsGetLostInBursts(t *testing.T) {
	p := dry(0)
	whole := len(play(t, p, winter, 6).readings["power"])
	p.Metering.DropoutShare = 0.05
	some := play(t, p, winter, 6).readings["power"]
	assert.InDelta(t, 0.05, 1-float64(len(some))/float64(whole), 0.02)
	bursts := 0
	for i := 1; i < len(some); i++ {
		if some[i].Time.Sub(some[i-1].Time) > 10*time.Second {
			bursts++
		}
	}
	assert.Less(t, bursts, (whole-len(some))/3, "several at a time")

	p.Metering.DropoutShare, p.Metering.GapsPerMonth = 0, 30
	gaps := play(t, p, winter, 6).readings["power"]
	longest := time.Duration(0)
	for i := 1; i < len(gaps); i++ {
		longest = max(longest, gaps[i].Time.Sub(gaps[i-1].Time))
	}
	assert.Greater(t, longest, time.Hour)
}

func TestSamplingTimes(t *testing.T) {
	p := dry(0)
	p.Metering.Interval, p.Metering.SlowInterval = 30*time.Second, 5*time.Minute
	p.Metering.Jitter = 3 * time.Second
	out := play(t, p, winter, 0.25)
	assert.Len(t, out.readings["flow_temp"], 6*120)
	assert.Len(t, out.readings["outdoor_temp"], 6*12)
	late := 0
	for i, r := range out.readings["flow_temp"] {
		nominal := winter.Add(time.Duration(i) * 30 * time.Second)
		require.False(t, r.Time.Before(nominal))
		require.Less(t, r.Time.Sub(nominal), 3*time.Second)
		require.Equal(t, r.Time, out.readings["power"][i].Time, "read together")
		if r.Time.After(nominal) {
			late++
		}
	}
	assert.Greater(t, late, 600)

	p.Metering.OwnClocks = true
	apart := play(t, p, winter, 0.25)
	assert.NotEqual(t, apart.readings["flow_temp"][5].Time, apart.readings["power"][5].Time)
}

func TestSlowChannelsOnChange(t *testing.T) {
	p := good(0, 60)
	always := play(t, p, winter, 1)
	p.Metering.SlowOnChange = true
	onChange := play(t, p, winter, 1)
	assert.Less(t, len(onChange.readings["mode"]), len(always.readings["mode"])/10)
	assert.Less(t, len(onChange.readings["flow_target"]), len(always.readings["flow_target"])/4)
	assert.Len(t, onChange.readings["power"], len(always.readings["power"]))
	for _, c := range []ingest.Channel{"mode", "flow_target", "outdoor_temp"} {
		r := onChange.readings[c]
		for i := 1; i < len(r); i++ {
			gap := r[i].Time.Sub(r[i-1].Time)
			require.LessOrEqual(t, gap, 10*time.Minute, c)
			require.True(t, r[i].Value != r[i-1].Value || gap == 10*time.Minute, c)
		}
		require.NotNil(t, p.Record().Channels[c].MaxGapS, c)
		assert.Greater(t, *p.Record().Channels[c].MaxGapS, 600.0)
	}
}

func TestUnmeteredPartsAreLeftOut(t *testing.T) {
	p := good(-5, 50, rig.Trouble{Kind: rig.NeedlessBackup})
	p.Backup = rig.Backup{PowerKW: 6, BelowOutdoorC: -10}
	all := play(t, p, winter, 1)
	p.Metering.PumpNotMetered, p.Metering.BackupNotMetered = true, true
	some := play(t, p, winter, 1)
	assert.InDelta(t, all.truth.Electricity.TotalKWh, some.truth.Electricity.TotalKWh+some.truth.Electricity.UnmeteredKWh, 1e-6)
	assert.Zero(t, some.truth.Electricity.BackupKWh)
	assert.Greater(t, some.truth.Electricity.UnmeteredKWh, 5.0)
	assert.InEpsilon(t, some.truth.Electricity.TotalKWh, mean(values(some.readings["power"]))*24/1000, 0.01)
	assert.NotContains(t, p.Record().Metering.ElectricityCovers, "backup_heater")
	assert.Equal(t, some.truth.Parameters.Covers, p.Record().Metering.ElectricityCovers)

	p.Backup.AfterSensors = true
	after := play(t, p, winter, 1)
	assert.Greater(t, after.truth.Balance.AfterSensorsKWh, 5.0)
	assert.Less(t, after.truth.Heat.SpaceKWh, some.truth.Heat.SpaceKWh-5, "heat behind the sensors is not measured")
}

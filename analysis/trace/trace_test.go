package trace_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/fluid"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

var midnight = time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC)

// column makes samples at the given seconds after midnight.
func column(ch ingest.Channel, seconds []float64, values ...float64) ingest.Column {
	c := ingest.Column{Channel: ch}
	for i, s := range seconds {
		c.UnixMS = append(c.UnixMS, midnight.UnixMilli()+int64(s*1000))
		c.Value = append(c.Value, values[i])
	}
	return c
}

// steady makes n samples of one value.
func steady(ch ingest.Channel, everyS float64, n int, value float64) ingest.Column {
	seconds, values := make([]float64, n), make([]float64, n)
	for i := range seconds {
		seconds[i], values[i] = float64(i)*everyS, value
	}
	return column(ch, seconds, values...)
}

func build(opt trace.Options, spanS float64, columns ...ingest.Column) *trace.Trace {
	return trace.Build(columns, midnight, midnight.Add(time.Duration(spanS*float64(time.Second))), opt)
}

func integral(t *trace.Trace, column []float64) float64 {
	sum := 0.0
	for i, v := range column {
		if !math.IsNaN(v) {
			sum += v * t.DurS[i]
		}
	}
	return sum
}

// The reference is testdata/fluid/heat_coefficient.csv, computed from IAPWS-IF97
// at 16 bar: k for 35/30 °C is 1.155586 kWh/(m³·K) with the flow sensor in the
// return and 1.153707 in the flow; 1.2 m³/h x 5 K for an hour.
func TestHeatOfASteadyHour(t *testing.T) {
	columns := []ingest.Column{
		steady("flow_temp", 10, 361, 35), steady("return_temp", 10, 361, 30), steady("flow_rate", 10, 361, 1200),
	}
	check := func(opt trace.Options, wantKWh, tolerance float64) {
		t.Helper()
		tr := build(opt, 3600, columns...)
		assert.InEpsilon(t, wantKWh, integral(tr, tr.HeatW)/3.6e6, tolerance)
		assert.Equal(t, trace.HeatFromFlow, tr.HeatSource)
	}
	check(trace.Options{}, 1.2*5*1.155586, 1e-5)
	check(trace.Options{Meter: fluid.MeterInFlow}, 1.2*5*1.153707, 1e-5)
	// 0.5 K of offset is a tenth of the difference (34.5/30 °C: k differs by
	// less than 0.03 %, heat_coefficient.csv).
	check(trace.Options{PairOffsetK: 0.5}, 1.2*4.5*1.1558, 3e-4)
}

func TestTemperaturesRunStraightAndPowerHolds(t *testing.T) {
	tr := build(trace.Options{}, 120,
		column("flow_temp", []float64{0, 60, 120}, 30, 40, 40),
		column("power", []float64{0, 60, 120}, 100, 2000, 2000))
	require.Equal(t, 2, tr.Len())
	assert.Equal(t, []float64{35, 40}, tr.FlowC)
	assert.Equal(t, []float64{100, 2000}, tr.PowerW)
}

func TestNothingIsFilledInAcrossAGap(t *testing.T) {
	// Every 30 s, then nothing for 3 minutes: more than two minutes, the least
	// limit, and more than three times the spacing.
	tr := build(trace.Options{}, 300, column("power", []float64{0, 30, 60, 240, 270, 300}, 1, 1, 1, 5, 5, 5))
	assert.InDelta(t, 1*60+5*60, integral(tr, tr.PowerW), 1e-9)
	known := 0.0
	for i, w := range tr.PowerW {
		if !math.IsNaN(w) {
			known += tr.DurS[i]
		}
	}
	assert.InDelta(t, 120, known, 1e-9)

	longer := trace.Options{MaxGap: map[ingest.Channel]time.Duration{"power": 5 * time.Minute}}
	tr = build(longer, 300, column("power", []float64{0, 30, 60, 240, 270, 300}, 1, 1, 1, 5, 5, 5))
	assert.InDelta(t, 1*240+5*60, integral(tr, tr.PowerW), 1e-9, "a channel published on change holds longer")
}

func TestTheEndsAreNotExtrapolated(t *testing.T) {
	tr := build(trace.Options{}, 600, column("power", []float64{120, 180, 240}, 7, 7, 7))
	assert.InDelta(t, 7*120, integral(tr, tr.PowerW), 1e-9)
}

func TestSlowChannelsAreAveragedOverTheClock(t *testing.T) {
	tr := build(trace.Options{}, 1800,
		steady("power", 10, 181, 500),
		column("outdoor_temp", []float64{0, 900, 1800}, 0, 9, 0))
	require.Equal(t, 180, tr.Len())
	assert.InDelta(t, 4.5*1800, integral(tr, tr.OutdoorC), 1e-6)
	assert.InDelta(t, 0.05, tr.OutdoorC[0], 1e-9)
}

func TestSamplesOfOneMomentShareAnInterval(t *testing.T) {
	var columns []ingest.Column
	for k, ch := range []ingest.Channel{"flow_temp", "return_temp", "flow_rate", "power"} {
		c := steady(ch, 10, 100, 30)
		for i := range c.UnixMS {
			c.UnixMS[i] += int64(k * 40) // each topic arrives a little later
		}
		columns = append(columns, c)
	}
	tr := build(trace.Options{}, 1000, columns...)
	assert.LessOrEqual(t, tr.Len(), 102, "four messages a moment make one interval, not four")
}

func TestIntervalsEndWhereFlowAndReturnCross(t *testing.T) {
	tr := build(trace.Options{}, 120,
		column("flow_temp", []float64{0, 60, 120}, 35, 27, 35),
		column("return_temp", []float64{0, 60, 120}, 30, 30, 30),
		steady("flow_rate", 60, 3, 1000))
	drawn, given := 0.0, 0.0
	for i, w := range tr.HeatW {
		drawn += max(-w, 0) * tr.DurS[i]
		given += max(w, 0) * tr.DurS[i]
	}
	// The difference runs 5, -3, 5 K: below zero for 3/8 of both minutes.
	perK := 1000.0 / 3.6e6 * 995.65 * 4180 // W/K at 30 °C: density and heat capacity of water_properties.csv
	assert.InEpsilon(t, perK*1.5*45, drawn, 0.003)
	assert.InEpsilon(t, perK*2.5*75, given, 0.003)
}

func TestNoFlowCarriesNoHeat(t *testing.T) {
	tr := build(trace.Options{}, 60, steady("flow_temp", 10, 7, 50), steady("return_temp", 10, 7, 20), steady("flow_rate", 10, 7, 0))
	assert.Zero(t, integral(tr, tr.HeatW))
}

func TestRegistersGiveHeatAndPowerWhereNothingElseDoes(t *testing.T) {
	tr := build(trace.Options{}, 7200,
		column("heat_register", []float64{0, 1800, 3600, 5400, 7200}, 10, 12, 14, 14, 18),
		column("electricity_register", []float64{0, 1800, 3600, 5400, 7200}, 5, 5.5, 6, 6, 7))
	assert.Equal(t, trace.HeatFromRegister, tr.HeatSource)
	assert.True(t, tr.PowerFromRegister)
	assert.InDelta(t, 8, integral(tr, tr.HeatW)/3.6e6, 1e-9)
	assert.InDelta(t, 2, integral(tr, tr.PowerW)/3.6e6, 1e-9)
}

func TestUnwrap(t *testing.T) {
	check := func(name string, values, want []float64, resets int, falls float64) {
		t.Helper()
		seconds := make([]float64, len(values))
		for i := range seconds {
			seconds[i] = float64(i * 60)
		}
		sum, gotResets, gotFalls := trace.Unwrap(column("heat_register", seconds, values...))
		assert.InDeltaSlice(t, want, sum, 1e-9, name)
		assert.Equal(t, resets, gotResets, name)
		assert.InDelta(t, falls, gotFalls, 1e-9, name)
	}
	check("plain", []float64{1, 2, 4}, []float64{1, 2, 4}, 0, 0)
	check("reset to zero", []float64{500, 501, 0.5, 1}, []float64{500, 501, 501.5, 502}, 1, 0)
	check("roll-over", []float64{99998, 99999.5, 0.5}, []float64{99998, 99999.5, 100000.5}, 1, 0)
	check("a defrost takes heat back", []float64{500, 499.6, 500.2}, []float64{500, 499.6, 500.2}, 0, 0.4)
}

func TestCalibrateComparesARegisterWithTheIntegral(t *testing.T) {
	register := steady("electricity_register", 60, 61, 0)
	for i := range register.Value {
		register.Value[i] = 100 + math.Floor(float64(i)/60*2.1*100)/100 // 2.1 kWh in steps of 0.01
	}
	tr := build(trace.Options{}, 3600, steady("power", 10, 361, 2000), register)
	c := tr.Calibrate("electricity_register", tr.PowerW, 0, tr.Len())
	require.True(t, c.Usable)
	assert.InEpsilon(t, 1.05, c.Factor, 0.005)
	assert.InEpsilon(t, 2.0, c.IntegralKWh, 1e-6)

	coarse := register
	coarse.Value = make([]float64, len(register.Value))
	for i, v := range register.Value {
		coarse.Value[i] = math.Floor(v)
	}
	tr = build(trace.Options{}, 3600, steady("power", 10, 361, 2000), coarse)
	assert.False(t, tr.Calibrate("electricity_register", tr.PowerW, 0, tr.Len()).Usable, "two steps of 1 kWh tell little")
}

// A gap in the readings is in neither the register's stretches nor the
// integral's, unless it is short.
func TestCalibrateLeavesOutLongGaps(t *testing.T) {
	power := steady("power", 10, 361, 1000)
	hole := func(from, to int) ingest.Column {
		return ingest.Column{Channel: "power",
			UnixMS: append(append([]int64{}, power.UnixMS[:from]...), power.UnixMS[to:]...),
			Value:  append(append([]float64{}, power.Value[:from]...), power.Value[to:]...)}
	}
	register := steady("electricity_register", 10, 361, 0)
	for i := range register.Value {
		register.Value[i] = 7 + float64(i)/360
	}
	for name, holes := range map[string][2]int{"five minutes": {100, 130}, "half an hour": {100, 280}} {
		tr := build(trace.Options{}, 3600, hole(holes[0], holes[1]), register)
		c := tr.Calibrate("electricity_register", tr.PowerW, 0, tr.Len())
		require.True(t, c.Usable, name)
		assert.InEpsilon(t, 1, c.Factor, 0.01, name)
	}
}

func TestGarbageInputsNeverPanic(t *testing.T) {
	for _, columns := range [][]ingest.Column{
		nil,
		{{Channel: "power"}},
		{column("power", []float64{0}, 5)},
		{column("flow_temp", []float64{0, 10}, -40, 130), column("return_temp", []float64{0, 10}, 130, -40), column("flow_rate", []float64{0, 10}, 0, 1e5)},
		{column("room_temp/kitchen", []float64{5, 6}, 20, 21)},
	} {
		tr := build(trace.Options{}, 60, columns...)
		assert.Equal(t, len(tr.EdgeMS), tr.Len()+1)
	}
	assert.Zero(t, build(trace.Options{}, 0).Len(), "an empty span has no interval")
}

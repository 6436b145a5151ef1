package operation_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

var morning = time.Date(2026, 1, 14, 6, 0, 0, 0, time.UTC)

// phase is so many samples of 30 s with these values; NaN is no sample.
type phase struct {
	n                               int
	powerW, flowLPH, flowC, returnC float64
	mode                            ingest.Mode
}

// detect plays phases; with says whether the mode is published.
func detect(withMode bool, outdoorC float64, phases ...phase) (*trace.Trace, *operation.Operation) {
	columns := []ingest.Column{{Channel: "power"}, {Channel: "flow_rate"}, {Channel: "flow_temp"}, {Channel: "return_temp"}, {Channel: "outdoor_temp"}}
	if withMode {
		columns = append(columns, ingest.Column{Channel: "mode"})
	}
	at := morning
	for _, p := range phases {
		for range p.n {
			values := []float64{p.powerW, p.flowLPH, p.flowC, p.returnC, outdoorC, float64(p.mode)}
			for c := range columns {
				if !math.IsNaN(values[c]) {
					columns[c].UnixMS = append(columns[c].UnixMS, at.UnixMilli())
					columns[c].Value = append(columns[c].Value, values[c])
				}
			}
			at = at.Add(30 * time.Second)
		}
	}
	t := trace.Build(columns, morning, at, trace.Options{})
	return t, operation.Detect(t)
}

var (
	rest    = phase{n: 40, powerW: 15, flowC: 28, returnC: 28}
	heating = phase{n: 60, powerW: 1500, flowLPH: 1000, flowC: 36, returnC: 31, mode: ingest.ModeHeating}
	silence = phase{n: 20, powerW: math.NaN(), flowLPH: math.NaN(), flowC: math.NaN(), returnC: math.NaN()}
)

func lengthen(p phase, n int) phase {
	p.n = n
	return p
}

func TestRunsAndWhetherTheirEndsWereSeen(t *testing.T) {
	check := func(name string, want []operation.Run, phases ...phase) {
		t.Helper()
		_, op := detect(false, 2, phases...)
		require.Len(t, op.Runs, len(want), name)
		for i, r := range op.Runs {
			assert.Equal(t, want[i].StartSeen, r.StartSeen, "%s: start of run %d", name, i)
			assert.Equal(t, want[i].EndSeen, r.EndSeen, "%s: end of run %d", name, i)
		}
	}
	whole, cut := operation.Run{StartSeen: true, EndSeen: true}, operation.Run{}
	check("between rests", []operation.Run{whole, whole}, rest, heating, rest, heating, rest)
	check("running when the readings begin and end", []operation.Run{cut}, heating)
	check("silent for ten minutes in a run", []operation.Run{whole}, rest, heating, silence, heating, rest)
	check("silent for two hours", []operation.Run{{StartSeen: true}, {EndSeen: true}}, rest, heating, lengthen(silence, 240), heating, rest)
	check("a start in the silence is a start", []operation.Run{whole}, rest, silence, heating, rest)
}

func TestAPumpAloneIsCirculating(t *testing.T) {
	pump := phase{n: 80, powerW: 60, flowLPH: 900, flowC: 25, returnC: 25}
	tr, op := detect(false, 2, rest, heating, rest, pump)
	assert.Equal(t, operation.Circulating, op.State[tr.Len()-5])
	_, op = detect(false, 2, pump)
	assert.Empty(t, op.Runs, "a plant seen only with its pump on never ran")
}

// A floor takes the heat of the first quarter of an hour, and a cylinder was charged
// with seven times the power before: what a start takes is no rest.
func TestAStartWithoutHeatIsNoRest(t *testing.T) {
	circulating := phase{n: 240, powerW: 44, flowLPH: 1000, flowC: 19.3, returnC: 19.3}
	charging := phase{n: 36, powerW: 5700, flowLPH: 1500, flowC: 60, returnC: 48}
	start := phase{n: 30, powerW: 970, flowLPH: 1100, flowC: 19, returnC: 18.9}
	light := phase{n: 480, powerW: 850, flowLPH: 1060, flowC: 26, returnC: 21.7}
	_, op := detect(false, 8, circulating, charging, lengthen(circulating, 60), start, light)
	assert.InDelta(t, 44, op.Levels.StandbyW, 20)
	assert.Less(t, op.Levels.OffW, op.Levels.OnW)
	assert.Len(t, op.Runs, 2)
}

func TestTheModeDecidesWhereThereIsOne(t *testing.T) {
	charging := phase{n: 60, powerW: 1800, flowLPH: 1000, flowC: 36, returnC: 31, mode: ingest.ModeHotWater}
	melting := phase{n: 10, powerW: 800, flowLPH: 1000, flowC: 30, returnC: 31, mode: ingest.ModeDefrost}
	_, op := detect(true, 2, rest, charging, melting, charging, rest)
	require.Len(t, op.HotWater, 1, "a defrost in it is part of the charging")
	require.Len(t, op.Defrosts, 1)
	assert.Len(t, op.Runs, 1)
	_, op = detect(false, 2, rest, charging, rest)
	assert.Empty(t, op.HotWater, "without it, water at the heating's own temperature is heating")
}

func TestNoFrostInWarmAir(t *testing.T) {
	drawn := phase{n: 10, powerW: 800, flowLPH: 1000, flowC: 27, returnC: 31}
	_, op := detect(false, 2, rest, heating, drawn, heating, rest)
	assert.Len(t, op.Defrosts, 1)
	_, op = detect(false, 20, rest, heating, drawn, heating, rest)
	assert.Empty(t, op.Defrosts)
}

func TestEveryStateOfNothingKnownIsUnknown(t *testing.T) {
	_, op := detect(false, 2, lengthen(silence, 100))
	for _, s := range op.State {
		assert.Equal(t, operation.Unknown, s)
	}
	assert.Empty(t, op.Runs)
}

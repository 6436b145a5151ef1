package capacity_test

import (
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/capacity"
	"coldweek/analysis/efficiency"
	"coldweek/analysis/playtest"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/weather"
)

var january = time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC)

// play runs a simulated plant for whole days and returns its hours.
func play(t testing.TB, plant rig.Plant, from time.Time, days int) ([]siteday.Hour, rig.Truth) {
	t.Helper()
	p := playtest.Play(t, plant, from, days)
	return siteday.Merge(p.Days).Hours, p.Truth
}

var bare = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp}

// small is a plant of which a seed decides, with so much of its machine, in dry
// air that swings between two temperatures over four days.
func small(seed uint64, machineRatio, lowestC, highestC float64) rig.Plant {
	p := rig.Random(seed)
	p.HeatPump.RatedHeatKW *= machineRatio
	p.HeatPump.MinimumHeatKW *= machineRatio
	p.Backup = rig.Backup{}
	p.Metering.PairOffsetK, p.Metering.DropoutShare, p.Metering.Quantities = 0, 0, bare
	p.Metering.Interval = time.Minute
	const swingH = 96
	p.Hours = nil
	for h := range swingH {
		share := 0.5 + 0.5*math.Cos(2*math.Pi*float64(h)/swingH)
		p.Hours = append(p.Hours, weather.Hour{OutdoorC: lowestC + share*(highestC-lowestC), HumidityPct: 25})
	}
	return p
}

func plantOf(p rig.Plant, withPoints bool) capacity.Plant {
	record := p.Record()
	c := capacity.Plant{DesignC: record.Design.OutdoorTempC, DesignFlowC: record.Design.FlowTempC,
		HeatAfterBackup: record.Metering.HeatMeter.AfterBackupHeater, BackupOnMeter: true}
	for _, l := range record.HeatPump.LaboratoryPoints {
		if withPoints {
			c.Points = append(c.Points, efficiency.Point{OutdoorC: l.OutdoorTempC, FlowC: l.FlowTempC, COP: l.COP, HeatW: l.HeatKW * 1000})
		}
	}
	return c
}

// trueNeed is what the house takes by the simulation's own figures.
func trueNeed(truth rig.Truth) capacity.Need {
	return func(outdoorC float64) (robust.Estimate, bool) {
		w := max(truth.Parameters.HeatLossWPerK*(truth.Parameters.BaseC-outdoorC), 0)
		return robust.Estimate{Value: w, Low: 0.9 * w, High: 1.1 * w}, true
	}
}

// trueCapacityW is what the simulated machine gives at the sensors without frost:
// its rating less a share per kelvin below 7 °C, 0.3 % less per kelvin of flow
// above 35 °C, and 2.5 W/K lost between machine and sensors (ingest/rig).
func trueCapacityW(p rig.Plant, outdoorC, flowC float64) float64 {
	share := min(1.05, max(0.3, 1-p.HeatPump.CapacityPerK*(7-outdoorC)))
	return p.HeatPump.RatedHeatKW*1000*share*(1-0.003*(flowC-35)) - 2.5*(flowC-outdoorC)
}

// trueBalanceC is where the simulated house needs all that the machine can give
// in the time that hot water leaves.
func trueBalanceC(p rig.Plant, truth rig.Truth, hotWaterShare float64) float64 {
	need, curve := trueNeed(truth), p.Control.Curve
	for c := 20.0; c > -35; c -= 0.01 {
		i := 1
		for i < len(curve)-1 && c > curve[i].OutdoorC {
			i++
		}
		flowC := curve[i-1].FlowC + (c-curve[i-1].OutdoorC)*(curve[i].FlowC-curve[i-1].FlowC)/(curve[i].OutdoorC-curve[i-1].OutdoorC)
		if wants, _ := need(c); trueCapacityW(p, c, flowC)*(1-hotWaterShare) < wants.Value {
			return c
		}
	}
	return math.NaN()
}

// flowNear is the flow temperature the plant had near an outdoor temperature: a
// small machine stays below its curve.
func flowNear(hours []siteday.Hour, outdoorC float64) float64 {
	var flow siteday.Mean
	for _, h := range hours {
		if c, ok := h.Steady.Outdoor.Of(); ok && math.Abs(c-outdoorC) < 2 {
			flow.ValueS += h.Steady.Flow.ValueS
			flow.S += h.Steady.Flow.S
		}
	}
	return flow.ValueS / flow.S
}

// seeds is how many plants a test draws.
func seeds(few, many uint64) uint64 {
	if os.Getenv("COLDWEEK_ALL") != "" {
		return many
	}
	return few
}

// TestSmallMachinesInDryAir: machines that reach full output without frost show
// what the simulation lets them give, and the lines cross where they do in truth,
// with test points and without.
func TestSmallMachinesInDryAir(t *testing.T) {
	const coldC = -10
	shown := map[bool]int{}
	for seed := uint64(1); seed <= seeds(6, 40); seed++ {
		p := small(seed, 0.6, -14, 8)
		hours, truth := play(t, p, january, 12)
		for _, points := range []bool{true, false} {
			c := plantOf(p, points)
			c.DesignC = new(float64(coldC))
			r := capacity.Of(hours, c, trueNeed(truth))
			if r.Basis != capacity.Shown {
				continue
			}
			shown[points]++
			require.NotNil(t, r.AtDesign, "seed %d", seed)
			wantW := trueCapacityW(p, coldC, flowNear(hours, coldC))
			assert.InEpsilon(t, wantW, r.AtDesign.Value, 0.04, "seed %d, points %v", seed, points)
			if wantC := trueBalanceC(p, truth, r.HotWaterShare); wantC > -14 {
				require.NotNil(t, r.Balance, "seed %d", seed)
				assert.InDelta(t, wantC, r.Balance.OutdoorC, 0.5, "seed %d, points %v", seed, points)
				assert.Greater(t, *r.ShareOfTimeAtFull, 0.1, "seed %d", seed)
			}
			t.Logf("seed %d points %-5v: %5.0f W at -10 °C, truth %5.0f; balance %6.2f °C, truth %6.2f; at full %.3f of the time, %v",
				seed, points, r.AtDesign.Value, wantW, r.Balance.OutdoorC, trueBalanceC(p, truth, r.HotWaterShare), *r.ShareOfTimeAtFull, r.Signs)
		}
	}
	assert.GreaterOrEqual(t, shown[true], int(seeds(5, 34)), "with test points full output is recognised")
	assert.NotZero(t, shown[false], "and without, by power alone")
}

// TestLargeMachinesShowNothing: a machine that always has something left has not
// shown its greatest output. With test points the laboratory speaks, and comes to
// what the simulation would let it give; without, nothing is known.
func TestLargeMachinesShowNothing(t *testing.T) {
	for seed := uint64(1); seed <= seeds(6, 40); seed++ {
		p := rig.Random(seed)
		p.HeatPump.RatedHeatKW *= 1.5
		p.Metering.Interval, p.Metering.PairOffsetK = time.Minute, 0
		hours, truth := play(t, p, january, 7)
		r := capacity.Of(hours, plantOf(p, false), trueNeed(truth))
		assert.Equal(t, capacity.Unknown, r.Basis, "seed %d: %v", seed, r.Signs)
		assert.Nil(t, r.AtDesign)
		assert.Nil(t, r.ShareOfTimeAtFull, "not known")
		assert.Equal(t, capacity.NotKnown, r.Verdict)

		c := plantOf(p, true)
		r = capacity.Of(hours, c, trueNeed(truth))
		assert.Equal(t, capacity.Laboratory, r.Basis, "seed %d: %v", seed, r.Signs)
		if r.ShareOfTimeAtFull != nil {
			assert.Zero(t, *r.ShareOfTimeAtFull)
		}
		if *c.DesignC < -17 {
			assert.Nil(t, r.AtDesign, "seed %d: test points end at -7 °C", seed)
			continue
		}
		require.NotNil(t, r.AtDesign, "seed %d", seed)
		assert.InEpsilon(t, trueCapacityW(p, *c.DesignC, *c.DesignFlowC), r.AtDesign.Value, 0.04, "seed %d", seed)
	}
}

// TestFrostIsToldApart: in damp air just above 0 °C a small machine's settled
// output falls behind the dry one's by what the simulated frost takes, at most 15
// % and more at thick frost, and its defrosts take more.
func TestFrostIsToldApart(t *testing.T) {
	p := small(9, 0.5, -2, 4)
	p.Defrost = rig.Random(1).Defrost
	for i := range p.Hours {
		p.Hours[i].HumidityPct = 92
	}
	p.Metering.Quantities = append([]ingest.Quantity{ingest.FlowTarget, ingest.ModeQuantity}, bare...)
	hours, truth := play(t, p, january, 8)
	c := plantOf(p, true)
	c.DesignC = new(0.0)
	r := capacity.Of(hours, c, trueNeed(truth))
	require.Equal(t, capacity.Shown, r.Basis)
	require.NotNil(t, r.AtDesign, r.Why)
	dryW := trueCapacityW(p, 0, 27)
	t.Logf("%.0f W, dry %.0f; sustained %.3f; %v, %s: %s", r.AtDesign.Value, dryW, r.SustainedRatio, r.Signs, r.Verdict, r.Why)
	assert.Less(t, r.AtDesign.Value, dryW)
	assert.Greater(t, r.AtDesign.Value, 0.85*dryW)
	sustainedW := r.SustainedRatio * r.AtDesign.Value
	hoursThroughout, throughoutJ := 0.0, 0.0
	for _, h := range hours { // by hand: whole hours at the design temperature
		if outdoorC, ok := h.Outdoor.Of(); ok && math.Abs(outdoorC) < 1 && h.HotWaterS == 0 && h.RunS > 3590 {
			hoursThroughout++
			throughoutJ += h.SpaceJ
		}
	}
	assert.InEpsilon(t, throughoutJ/hoursThroughout/3600, sustainedW, 0.04)
}

func TestNothingGivesNothing(t *testing.T) {
	r := capacity.Of(nil, capacity.Plant{}, nil)
	assert.Equal(t, capacity.Unknown, r.Basis)
	assert.Equal(t, capacity.NotKnown, r.Verdict)
	assert.Nil(t, r.ShareOfTimeAtFull)
	assert.Nil(t, r.Balance)
	r = capacity.Of(nil, capacity.Plant{DesignC: new(-5.0), Points: []efficiency.Point{{OutdoorC: 2, FlowC: 35, COP: 3, HeatW: 8000}}}, nil)
	assert.Equal(t, capacity.Unknown, r.Basis, "one point is no line")
}

// TestTestPointsAtOneFlow by hand: 6 kW at -7 and 9 kW at 2 °C are 7 kW at -4 °C
// and, drawn on, 5 kW at -10; 20 K on nothing is known.
func TestTestPointsAtOneFlow(t *testing.T) {
	points := []efficiency.Point{{OutdoorC: -7, FlowC: 35, COP: 3, HeatW: 6000}, {OutdoorC: 2, FlowC: 35, COP: 4, HeatW: 9000}}
	needs := func(outdoorC float64) (robust.Estimate, bool) {
		w := max(200*(16-outdoorC), 0)
		return robust.Estimate{Value: w, Low: w, High: w}, true
	}
	at := func(designC float64) capacity.Report {
		return capacity.Of(nil, capacity.Plant{DesignC: &designC, DesignFlowC: new(38.0), Points: points}, needs)
	}
	assert.InDelta(t, 7000, at(-4).AtDesign.Value, 1e-6)
	assert.InDelta(t, 5000, at(-10).AtDesign.Value, 1e-6)
	assert.InDelta(t, 3, at(-10).BeyondK, 1e-9)
	assert.Nil(t, at(-18).AtDesign)
	// The lines cross where 7000 + 1000/3·(c+4) = 200·(16-c).
	assert.InDelta(t, (3200-7000-4000.0/3)/(1000.0/3+200), at(-4).Balance.OutdoorC, 0.06)
	assert.Equal(t, capacity.Enough, at(-7).Verdict)
	assert.Equal(t, capacity.Close, at(-9).Verdict)
	assert.Equal(t, capacity.Short, at(-14).Verdict)
	assert.Equal(t, capacity.Oversized, at(2).Verdict)
}

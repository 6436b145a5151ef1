package efficiency_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/operation"
	"coldweek/analysis/playtest"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/weather"
)

// play runs a simulated plant for whole days and sums them up.
func play(t testing.TB, plant rig.Plant, from time.Time, days int) (siteday.Sums, rig.Truth) {
	t.Helper()
	p := playtest.Play(t, plant, from, days)
	return siteday.Merge(p.Days), p.Truth
}

// house is a demo house with perfect sensor pair.
func house(i int, quantities ...ingest.Quantity) rig.Plant {
	p := rig.Houses()[i]
	p.Troubles = nil
	p.Metering.PairOffsetK = 0
	p.Metering.Quantities = append([]ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp, ingest.ModeQuantity}, quantities...)
	return p
}

func metersOf(p rig.Plant) efficiency.Meters {
	m := p.Record().Metering
	return efficiency.MetersOf(m.ElectricityCovers, m.HeatMeter.AfterBackupHeater)
}

func pointsOf(p rig.Plant) []efficiency.Point {
	var points []efficiency.Point
	for _, l := range p.Record().HeatPump.LaboratoryPoints {
		points = append(points, efficiency.Point{OutdoorC: l.OutdoorTempC, FlowC: l.FlowTempC, COP: l.COP})
	}
	return points
}

func spfOf(t *testing.T, r *efficiency.Result, b efficiency.Boundary) float64 {
	for _, at := range r.Boundaries {
		if at.Boundary == b {
			return at.SPF
		}
	}
	require.Fail(t, "not known", "%s", b)
	return 0
}

// january is cold enough for the third house's backup heater.
var january, april = time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC), time.Date(2026, 4, 13, 0, 0, 0, 0, time.UTC)

// TestBoundariesAgainstTruth: the simulated plant's ledger knows heat,
// electricity on the meter, of it the heaters, and what is on other meters.
func TestBoundariesAgainstTruth(t *testing.T) {
	p := house(2, ingest.BackupPower, ingest.PumpPower)
	p.HeatPump.RatedHeatKW = 10 // too small, so that its heater must help
	p.Metering.PumpNotMetered = true
	sums, truth := play(t, p, january, 7)
	require.Greater(t, truth.Electricity.BackupKWh, 5.0)
	r := efficiency.Of(&sums, metersOf(p), nil)
	assert.Equal(t, efficiency.H3, r.Measured)
	heat, e := truth.Heat.NetKWh, truth.Electricity
	check := func(b efficiency.Boundary, want float64) {
		t.Logf("%s %.3f, truth %.3f", b, spfOf(t, r, b), want)
		assert.InEpsilon(t, want, spfOf(t, r, b), 0.015, b)
	}
	// The heat meter sees the backup heater, not the immersion heater, which
	// works in the weekly hygiene run only; the ledger does not tell them apart.
	immersionKWh := (sums.BackupJ - sums.BackupInJ[operation.Heating] - sums.BackupInJ[operation.Defrost]) / kWhJ
	check(efficiency.H2, (heat-e.BackupKWh+immersionKWh)/(e.TotalKWh-e.BackupKWh))
	check(efficiency.H3, (heat+immersionKWh)/e.TotalKWh)
	check(efficiency.H4, (heat+immersionKWh)/(e.TotalKWh+e.UnmeteredKWh))
}

// TestShareOfCarnotTellsMachineFromWeather: from January to April the SPF of a
// healthy plant moves a lot and its share of Carnot little. A machine that has
// lost refrigerant shows in the share: the rig takes 12 % off its COP at this
// size, and as it then works harder, a little more.
func TestShareOfCarnotTellsMachineFromWeather(t *testing.T) {
	p := house(0)
	of := func(from time.Time, troubles ...rig.Trouble) *efficiency.Result {
		p.Troubles = troubles
		sums, _ := play(t, p, from, 10)
		return efficiency.Of(&sums, metersOf(p), pointsOf(p))
	}
	winter, spring, sick := of(january), of(april), of(january, rig.Trouble{Kind: rig.LostRefrigerant, Size: 0.8})
	for name, r := range map[string]*efficiency.Result{"winter": winter, "spring": spring, "sick": sick} {
		t.Logf("%-6s space SPF %.2f, share of Carnot %.3f", name, *r.Space, r.HeatingShare.Value)
	}
	moves := math.Log(*spring.Space / *winter.Space)
	assert.Greater(t, moves, 0.2, "the SPF moves with the weather")
	assert.Less(t, math.Abs(math.Log(spring.HeatingShare.Value/winter.HeatingShare.Value)), moves/4, "its share does not")
	assert.InDelta(t, 0.88-0.03, sick.HeatingShare.Value/winter.HeatingShare.Value, 0.03)
	assert.Equal(t, efficiency.Plausible, winter.HeatingShare.Judgement)
}

// steadyCold is a plant too small for its house in dry air of -2.5 °C: it runs at
// full output without frost, which is what its test points are of.
func steadyCold() rig.Plant {
	p := house(0)
	p.HeatPump.RatedHeatKW, p.HotWater = 4, rig.HotWater{}
	p.Emitters.OutputAt50KW = 6 // small radiators: the flow is as warm as test points are
	p.Hours = []weather.Hour{{OutdoorC: -2.5, HumidityPct: 20}}
	return p
}

// TestFieldAgainstLaboratory: such a plant falls behind its test points by its
// pump, its standby, and what the rig loses between machine and sensors.
func TestFieldAgainstLaboratory(t *testing.T) {
	p := steadyCold()
	sums, truth := play(t, p, january, 5)
	r := efficiency.Of(&sums, metersOf(p), pointsOf(p))
	ratio, ok := r.Laboratory.Ratio()
	require.True(t, ok)
	const lossWPerK = 2.5 // of machine and outdoor pipes, ingest/rig
	machineKWh := truth.Electricity.SpaceKWh - truth.RunHours*(p.Loop.PumpW+p.HeatPump.StandbyW)/1000
	lostKWh := truth.RunHours * lossWPerK * (*r.ByOutdoor[0].FlowC - -2.5) / 1000
	want := machineKWh / truth.Electricity.SpaceKWh * truth.Heat.SpaceKWh / (truth.Heat.SpaceKWh + lostKWh)
	t.Logf("field by laboratory %.4f, expected %.4f; COP %.2f, laboratory %.2f", ratio, want, r.Laboratory.FieldCOP, r.Laboratory.LabCOP)
	assert.InDelta(t, want, ratio, 0.01)
	assert.InDelta(t, 1, r.Laboratory.HeatShare, 0.02)

	p.HeatPump.CarnotShare *= 0.9
	worn, _ := play(t, p, january, 5)
	p.HeatPump.CarnotShare /= 0.9
	wornRatio, ok := efficiency.Of(&worn, metersOf(p), pointsOf(p)).Laboratory.Ratio()
	require.True(t, ok)
	assert.InDelta(t, 0.9, wornRatio/ratio, 0.01, "a machine of 90 % of its test points")
}

// TestRowsAddUp: in one weather there is one row, and it is the whole.
func TestRowsAddUp(t *testing.T) {
	p := steadyCold()
	sums, truth := play(t, p, january, 5)
	r := efficiency.Of(&sums, metersOf(p), nil)
	require.Len(t, r.ByOutdoor, 1)
	row := r.ByOutdoor[0]
	assert.LessOrEqual(t, row.FromC, -2.5)
	assert.Greater(t, row.ToC, -2.5)
	assert.InEpsilon(t, truth.Heat.SpaceKWh, row.HeatKWh, 0.01)
	assert.InEpsilon(t, truth.RunHours, row.RunHours, 0.01)
	assert.InEpsilon(t, *r.Space, *row.SPF, 1e-4)
	assert.InEpsilon(t, r.HeatingShare.Value, *row.Share, 1e-4)
	flowC, weight := 0.0, 0.0
	for binC, b := range sums.FlowBins {
		flowC += (float64(binC) + 0.5) * b.HeatJ[operation.Heating]
		weight += b.HeatJ[operation.Heating]
	}
	assert.InDelta(t, flowC/weight, *row.FlowC, 0.2, "the flow temperature that Carnot's work tells is the measured one")
	heatKWh := 0.0
	for _, row := range r.ByFlow {
		heatKWh += row.HeatKWh
	}
	assert.InEpsilon(t, truth.Heat.SpaceKWh, heatKWh, 0.03, "all but rows of less than an hour")
	assert.Nil(t, r.Laboratory)
}

// TestRowsStayFew: whatever the weather, the table is read at a glance.
func TestRowsStayFew(t *testing.T) {
	for _, highC := range []int{3, 10, 25, 60} {
		var s siteday.Sums
		s.Bins = map[int]siteday.Bin{}
		for binC := -15; binC < highC; binC++ {
			var b siteday.Bin
			b.SecondsS[operation.Heating], b.HeatJ[operation.Heating], b.ElectricityJ[operation.Heating] = 7200, 10*kWhJ, 3*kWhJ
			s.Bins[binC] = b
		}
		rows := efficiency.Of(&s, efficiency.Meters{}, nil).ByOutdoor
		assert.LessOrEqual(t, len(rows), 8)
		heatKWh := 0.0
		for i, row := range rows {
			heatKWh += row.HeatKWh
			assert.InDelta(t, 10.0/3, *row.SPF, 1e-9)
			assert.Nil(t, row.Share, "without ideal work there is no share")
			assert.True(t, i == 0 || rows[i-1].ToC == row.FromC)
		}
		assert.InDelta(t, 10*float64(highC+15), heatKWh, 1e-6)
	}
}

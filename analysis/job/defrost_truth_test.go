package job_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/defrost"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/weather"
)

// frostless is a plant in air too dry for frost, around 0 °C, with nothing but
// heating to do: it never has to defrost.
func frostless(seed uint64) rig.Plant {
	p := goodMeters(rig.Random(seed), 0, 0)
	p.HotWater, p.Backup, p.House.SolarApertureM2 = rig.HotWater{}, rig.Backup{}, 0
	for h := range 24 {
		p.Hours = append(p.Hours, weather.Hour{OutdoorC: 4 * math.Sin(float64(h)/12*math.Pi), HumidityPct: 30})
	}
	return p
}

// TestDefrostCostAgainstTheSamePlantWithout: the same house in the same weather
// heats once with and once without needless defrosts by the clock; what the
// former takes beyond the latter's efficiency is what they cost. That includes
// that the plant runs harder between them to make up, which minutes around a
// defrost cannot show, so the answer is some 5 % low.
func TestDefrostCostAgainstTheSamePlantWithout(t *testing.T) {
	const days = 4
	var ratios []float64
	for seed := range uint64(seeds(t, 4)) {
		without := frostless(seed + 1)
		with := without
		with.Troubles = []rig.Trouble{{Kind: rig.DefrostTooOften, Size: 50}, {Kind: rig.DefrostTooLong, Size: 6}}
		calm, busy := play(t, without, winter, days), play(t, with, winter, days)
		require.Empty(t, calm.truth.Defrosts)
		took := func(p played) (heatKWh, electricityKWh float64) {
			return p.truth.Heat.SpaceKWh - p.truth.Heat.DefrostDrawnKWh, p.truth.Electricity.SpaceKWh + p.truth.Electricity.DefrostKWh
		}
		calmHeatKWh, calmKWh := took(calm)
		busyHeatKWh, busyKWh := took(busy)
		trueKWh := busyKWh - busyHeatKWh*calmKWh/calmHeatKWh

		r := busy.analyse(t).Defrosting
		require.NotNil(t, r.Cost)
		require.NotNil(t, r.Cost.Penalty)
		ratio := r.Cost.ElectricityJ / 3.6e6 / trueKWh
		t.Logf("seed %d %-13s %3d defrosts, %d with a known cost: %5.1f kWh, truly %5.1f (%.2f); penalty %.3f, truly %.3f",
			seed+1, with.Defrost.Style, len(r.Episodes), r.Cost.Known, r.Cost.ElectricityJ/3.6e6, trueKWh, ratio, r.Cost.Penalty.Share, trueKWh/busyKWh)
		ratios = append(ratios, ratio)
		assert.Greater(t, ratio, 0.8, "seed %d", seed+1)
		assert.Less(t, ratio, 1.1, "seed %d", seed+1)
		assert.InDelta(t, trueKWh/busyKWh, r.Cost.Penalty.Share, 0.03, "seed %d", seed+1)
		assert.GreaterOrEqual(t, 10*r.Cost.Known, 9*len(busy.truth.Defrosts))
	}
	assert.InDelta(t, 0.95, stat.Mean(ratios, nil), 0.03)
}

// winter is when the plants of these tests are played.
var winter = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC)

// TestWhatStartsDefrosts: each plant defrosts once on demand and once by a
// clock of running time, in a week of its own climate's January. It must not be
// taken for the other kind, and be known where the weather changed.
func TestWhatStartsDefrosts(t *testing.T) {
	known, right, asked := 0, 0, 0
	for seed := range uint64(seeds(t, 6)) {
		for _, want := range []defrost.Kind{defrost.Demand, defrost.Timed} {
			p := rig.Random(seed + 1)
			if want == defrost.Timed {
				p.Defrost.Every = time.Duration(35+7*seed%50) * time.Minute
			}
			pattern := play(t, p, winter, 7).analyse(t).Defrosting.Pattern
			t.Logf("seed %d %-6s found %-6s %s", seed+1, want, pattern.Kind, pattern.Why)
			if pattern.Intervals < 8 || pattern.OutdoorRangeK < 3 {
				continue
			}
			asked++
			if pattern.Kind != defrost.NotKnown {
				known++
			}
			if pattern.Kind == want {
				right++
			}
		}
	}
	assert.Equal(t, known, right, "none is taken for the other")
	assert.GreaterOrEqual(t, 10*right, 9*asked)
	assert.Greater(t, asked, seeds(t, 6))
}

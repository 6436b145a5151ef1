package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// bareSensors is the least that gives heat and electricity.
var bareSensors = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp}

// goodMeters takes a plant's flow and return to be a perfect pair; noise, lag
// and resolution stay.
func goodMeters(p rig.Plant, interval time.Duration, dropoutShare float64) rig.Plant {
	p.Metering.PairOffsetK = 0
	p.Metering.Interval = interval
	p.Metering.DropoutShare = dropoutShare
	p.Metering.GapsPerMonth = 0
	p.Metering.Quantities = bareSensors
	return p
}

// TestMonthAgainstTruth: the simulated plant's own water and heat balance are
// the reference; see ingest/rig.
func TestMonthAgainstTruth(t *testing.T) {
	january := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	check := func(name string, plant rig.Plant, netPct, electricityPct float64, coverage [2]float64) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := play(t, plant, january, 28)
			r := p.analyse(t)
			assert.GreaterOrEqual(t, r.Coverage, coverage[0])
			assert.LessOrEqual(t, r.Coverage, coverage[1])
			// What was not covered is not in the sums; it was as the rest.
			assert.InEpsilon(t, p.truth.Heat.NetKWh, *r.Heat.NetKWh/r.Coverage, netPct/100, "net heat")
			assert.InEpsilon(t, p.truth.Electricity.TotalKWh, *r.Electricity.TotalKWh/r.Coverage, electricityPct/100, "electricity")
			e := r.Electricity
			assert.InDelta(t, *e.TotalKWh, *e.SpaceKWh+*e.HotWaterKWh+*e.DefrostKWh+*e.StandbyKWh, 0.001**e.TotalKWh, "states add up")
			t.Logf("coverage %.4f net %+.2f %% electricity %+.2f %%", r.Coverage,
				100*(*r.Heat.NetKWh/r.Coverage/p.truth.Heat.NetKWh-1), 100*(*r.Electricity.TotalKWh/r.Coverage/p.truth.Electricity.TotalKWh-1))
		})
	}
	for _, house := range rig.Houses() {
		check(house.ID+"/10s", goodMeters(house, 10*time.Second, 0), 1, 0.5, [2]float64{0.999, 1})
		check(house.ID+"/60s", goodMeters(house, time.Minute, 0), 2, 2, [2]float64{0.999, 1})
		check(house.ID+"/dropouts", goodMeters(house, 10*time.Second, 0.2), 2, 2, [2]float64{0.78, 0.97})
	}
}

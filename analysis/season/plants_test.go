package season_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/playtest"
	"coldweek/analysis/robust"
	"coldweek/analysis/season"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

var (
	january = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	march   = time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC)
)

// play runs a simulated plant and sums its days up.
func play(t testing.TB, plant rig.Plant, from time.Time, days int) ([]siteday.Day, rig.Truth) {
	t.Helper()
	p := playtest.Play(t, plant, from, days)
	return p.Days, p.Truth
}

// random is a healthy plant with perfect, plain sensors.
func random(seed uint64) rig.Plant {
	p := rig.Random(seed)
	p.Metering.PairOffsetK, p.Metering.DropoutShare = 0, 0
	p.Metering.Interval = time.Minute
	p.Metering.Quantities = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp, ingest.ModeQuantity}
	return p
}

// seeds is how many plants a test draws.
func seeds(few, many uint64) uint64 {
	if os.Getenv("COLDWEEK_ALL") != "" {
		return many
	}
	return few
}

func needOf(truth rig.Truth) season.Need {
	return func(outdoorC float64) (robust.Estimate, bool) {
		w := max(truth.Parameters.HeatLossWPerK*(truth.Parameters.BaseC-outdoorC), 0)
		return robust.Estimate{Value: w, Low: 0.95 * w, High: 1.05 * w}, true
	}
}

func spaceSPF(truth rig.Truth) float64 {
	return (truth.Heat.SpaceKWh - truth.Heat.DefrostDrawnKWh) / (truth.Electricity.SpaceKWh + truth.Electricity.DefrostKWh)
}

// TestProjectionComesBackToWhatWasMeasured: in its own weather a plant must be
// projected to do what it did.
func TestProjectionComesBackToWhatWasMeasured(t *testing.T) {
	const days = 21
	for seed := uint64(1); seed <= seeds(2, 20); seed++ {
		list, truth := play(t, random(seed), january, days)
		r, err := season.Site{Days: list, Need: needOf(truth)}.Project(season.Own(list))
		require.NoError(t, err, "seed %d", seed)
		want := spaceSPF(truth)
		t.Logf("seed %2d: SPF %.3f (%.3f to %.3f), truth %.3f; heat %.0f kWh, truth %.0f; beyond %.3f", seed, r.SpaceSPF.Value, r.SpaceSPF.Low, r.SpaceSPF.High, want,
			r.SpaceKWh.Value, truth.Heat.SpaceKWh-truth.Heat.DefrostDrawnKWh, r.BeyondShare)
		assert.InDelta(t, days*24, r.Hours, 0.5)
		assert.InEpsilon(t, want, r.SpaceSPF.Value, 0.03, "seed %d", seed)
		assert.InEpsilon(t, truth.Heat.SpaceKWh-truth.Heat.DefrostDrawnKWh, r.SpaceKWh.Value, 0.08, "seed %d", seed)
		assert.InDelta(t, truth.Electricity.StandbyKWh, r.StandbyKWh, 0.01*truth.Electricity.TotalKWh, "seed %d", seed)
		assert.InEpsilon(t, r.HeatKWh.Value/r.ElectricityKWh.Value, r.SPF.Value, 1e-9)
		assert.Less(t, r.BeyondShare, 0.05, "hours in which it hardly heated")
	}
}

// TestProjectionIntoOtherWeather: three weeks of January, projected into March's
// hours, against what the same plant then really does.
func TestProjectionIntoOtherWeather(t *testing.T) {
	const days = 21
	inside := 0
	n := seeds(2, 24)
	for seed := uint64(1); seed <= n; seed++ {
		measured, _ := play(t, random(seed), january, days)
		later, truth := play(t, random(seed), march, days)
		r, err := season.Site{Days: measured, Need: needOf(truth)}.Project(season.Own(later))
		require.NoError(t, err, "seed %d", seed)
		want := spaceSPF(truth)
		t.Logf("seed %2d: SPF %.3f (%.3f to %.3f), truth %.3f; beyond %.3f", seed, r.SpaceSPF.Value, r.SpaceSPF.Low, r.SpaceSPF.High, want, r.BeyondShare)
		assert.InEpsilon(t, want, r.SpaceSPF.Value, 0.06, "seed %d", seed)
		if r.SpaceSPF.Low <= want && want <= r.SpaceSPF.High {
			inside++
		}
	}
	t.Logf("%d of %d within their intervals", inside, n)
	assert.GreaterOrEqual(t, inside, int(n)*8/10)
}

// TestProjectionRefuses what it cannot know.
func TestProjectionRefuses(t *testing.T) {
	average := climate(t, "average")
	list, truth := play(t, random(1), january, 10)
	_, err := season.Site{Days: list}.Project(average)
	assert.ErrorContains(t, err, "needs is not known")
	_, err = season.Site{Days: list[:6], Need: needOf(truth)}.Project(average)
	assert.ErrorContains(t, err, "7 days")
	_, err = season.Site{Need: needOf(truth)}.Project(average)
	assert.Error(t, err)
	_, err = season.Site{Days: list, Need: func(float64) (robust.Estimate, bool) { return robust.Estimate{}, false }}.Project(average)
	assert.ErrorContains(t, err, "not known")

	warm := random(2)
	warm.Climate.AnnualMeanC, warm.Climate.SeasonK, warm.Climate.SynopticK = 14, 2, 0.5
	list, truth = play(t, warm, january, 10)
	_, err = season.Site{Days: list, Need: needOf(truth)}.Project(climate(t, "colder"))
	assert.ErrorContains(t, err, "beyond")
}

// airtight is a house without gains, whose base is then its room temperature and
// whose heat for each degree day its loss.
func airtight(seed uint64) rig.Plant {
	p := random(seed)
	p.House.GainsW, p.House.SolarApertureM2 = 0, 0
	p.HeatPump.RatedHeatKW *= 1.2
	p.Control.RoomCorrectionKPerK, p.Control.HeatingLimitC = 2, 25
	p.Control.Curve = p.MatchedCurve(0.5)
	return p
}

// TestComparisonOfTwoPeriods: a house that lost a fifth of its loss between
// January and March (its rooms then get a little warmer), and a machine that lost a tenth of its efficiency, show
// just that; without a change none is claimed.
func TestComparisonOfTwoPeriods(t *testing.T) {
	const days = 16
	for seed := uint64(1); seed <= seeds(1, 16); seed++ {
		p := airtight(seed)
		before, _ := play(t, p, january, days)
		compare := func(loss, cop float64) (season.Comparison, rig.Truth) {
			changed := airtight(seed)
			changed.House.HeatLossWPerK *= loss
			changed.House.AirMJPerK, changed.House.FabricMJPerK = p.House.AirMJPerK, p.House.FabricMJPerK
			changed.HeatPump.CarnotShare *= cop
			after, truth := play(t, changed, march, days)
			baseC := truth.Parameters.RoomMeanC
			return season.Compare(after, before, &baseC), truth
		}
		same, truth := compare(1, 1)
		require.NotNil(t, same.HeatChange, "seed %d: %v", seed, same.Cautions)
		// Emitters and pipes give the house what the sensors see, less the machine's
		// own water: 24 h times the loss, in kWh.
		assert.InEpsilon(t, truth.Parameters.HeatLossWPerK*24/1000, *same.This.KWhPerDegreeDay, 0.06, "seed %d", seed)
		assert.InDelta(t, 0, same.HeatChange.Value, 0.05, "seed %d", seed)
		t.Logf("seed %d: %.2f and %.2f kWh per degree day, truth %.2f; change %+.3f (%+.3f to %+.3f)", seed, *same.This.KWhPerDegreeDay, *same.Against.KWhPerDegreeDay,
			truth.Parameters.HeatLossWPerK*24/1000, same.HeatChange.Value, same.HeatChange.Low, same.HeatChange.High)
		insulated, _ := compare(0.8, 1)
		assert.InDelta(t, -0.2, insulated.HeatChange.Value, 0.06, "seed %d", seed)
		assert.Less(t, insulated.HeatChange.High, 0.0, "seed %d", seed)
		worn, _ := compare(1, 0.9)
		if same.ElectricityChange != nil {
			t.Logf("  electricity for the same heat %+.3f (%+.3f to %+.3f), worn %+.3f", same.ElectricityChange.Value, same.ElectricityChange.Low, same.ElectricityChange.High, worn.ElectricityChange.Value)
			assert.InDelta(t, 0, same.ElectricityChange.Value, 0.06, "seed %d: frost on the coil", seed)
			assert.InDelta(t, 1/0.9, (1+worn.ElectricityChange.Value)/(1+same.ElectricityChange.Value), 0.04, "seed %d", seed)
		}
	}
}

func TestComparisonNeedsDays(t *testing.T) {
	c := season.Compare(nil, nil, nil)
	assert.Nil(t, c.HeatChange)
	assert.Len(t, c.Cautions, 3, "two periods without days, and the customary base")
	assert.InDelta(t, 15.5, c.BaseC, 0)
}

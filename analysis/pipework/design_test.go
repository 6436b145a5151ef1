package pipework_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	_ "time/tzdata" // records name zones

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/pipework"
	"coldweek/ingest/site"
)

// design works out a record of testdata, edited by pairs of old and new text.
func design(t testing.TB, name string, edits ...string) *pipework.Result {
	t.Helper()
	return system(t, name, edits...).Design()
}

func system(t testing.TB, name string, edits ...string) *pipework.System {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(testdata, "pipework", name+".yaml"))
	require.NoError(t, err)
	for i := 0; i < len(edits); i += 2 {
		require.Contains(t, string(text), edits[i])
	}
	record, err := site.Parse(name, []byte(strings.NewReplacer(edits...).Replace(string(text))))
	require.NoError(t, err)
	s, err := pipework.Of(record)
	require.NoError(t, err)
	return s
}

// Common practice, no source: 10 kW along a house is too much for one 22 mm
// copper pair; two pairs at 5 kW each are fine without a second pump, and so
// are 35 mm primaries that step down to 28 mm.
func TestVerdictsOfPractice(t *testing.T) {
	for name, want := range map[string]pipework.Verdict{
		"one-22": pipework.DoesNot, "two-22": pipework.Runs, "one-28": pipework.Runs, "step-35-28": pipework.Runs,
	} {
		r := design(t, name)
		assert.Equal(t, want, r.Verdict, "%s: %s", name, r.Why)
		assert.InDelta(t, 10, r.LoadKW, 1e-9)
		assert.InEpsilon(t, 1736.6, r.FlowLPH, 1e-3) // pipe_example.csv
		assert.InDelta(t, 5, r.DifferenceK, 1e-9)
		// The verdict is head against loss, and nothing else.
		assert.Equal(t, want == pipework.Runs, *r.SpareKPa >= 0)
		assert.InDelta(t, *r.HeadKPa-r.IndexLossKPa, *r.SpareKPa, 1e-9)
	}
	assert.Greater(t, *design(t, "two-22").LargestLoadKW, 10.0)
	assert.Less(t, *design(t, "one-22").LargestLoadKW, 9.0)
	assert.Greater(t, *design(t, "step-35-28").SpareKPa, *design(t, "one-28").SpareKPa)
}

// Loss per metre and velocity of the same pipes (pipe_example.csv).
func TestLegsOfPractice(t *testing.T) {
	check := func(name, leg string, lossPaPerM, velocityMPerS float64) {
		t.Helper()
		l := legOf(t, design(t, name), leg)
		assert.InEpsilon(t, lossPaPerM, l.LossPaPerM, 2e-3)
		assert.InEpsilon(t, velocityMPerS, l.VelocityMPerS, 2e-3)
	}
	check("one-22", "along the house", 1184.7, 1.505)
	check("two-22", "along the house, low", 346.0, 0.753)
	check("one-28", "along the house", 340.8, 0.895)
	check("step-35-28", "primaries", 119.9, 0.578)
}

func legOf(t testing.TB, r *pipework.Result, name string) pipework.LegResult {
	t.Helper()
	for _, l := range r.Legs {
		if l.Name == name {
			return l
		}
	}
	require.Fail(t, "no leg "+name)
	return pipework.LegResult{}
}

// The rules of thumb are remarks: above 300 Pa/m the 28 mm pair runs all the
// same, and limits of the record's own silence them.
func TestRulesOfThumbAreRemarks(t *testing.T) {
	r := design(t, "one-28")
	assert.Contains(t, strings.Join(r.Remarks, "\n"), `"along the house": 341 Pa/m is above 300 Pa/m.`)
	assert.NotContains(t, strings.Join(r.Remarks, "\n"), "m/s is above")
	quiet := design(t, "one-28", "pipework:", "limits: {pipe_loss_pa_per_m: 350}\npipework:")
	assert.NotContains(t, strings.Join(quiet.Remarks, "\n"), "Pa/m is above")
	assert.Equal(t, r.Verdict, quiet.Verdict)
	fast := design(t, "one-22")
	assert.Regexp(t, `1\.51 m/s is above 1 m/s, 118[56] Pa/m is above 300 Pa/m; expect noise`, strings.Join(fast.Remarks, "\n"))
}

// One leg by hand: f L/d ρv²/2 + ζ ρv²/2 + (q/Kv)² bar.
func TestSingleLegIsTheHandFormula(t *testing.T) {
	const boreM, lengthM, zeta, kvM3H, flowLPH = 0.0262, 30.0, 7.5, 4.0, 1200.0
	leg := pipework.Leg{Parent: pipework.AtHeatPump, Pipe: pipework.Pipe{BoreM: boreM, RoughnessM: drawnTubeM},
		LengthM: lengthM, Zeta: zeta, KvM3H: kvM3H, Parallel: 1, LoadKW: 7, FlowLPH: flowLPH, DifferenceK: 5}
	s := &pipework.System{Liquid: warm, Legs: []pipework.Leg{leg}, Limits: pipework.DefaultLimits}
	r := s.Design()
	v := flowLPH / 3.6e6 / (math.Pi / 4 * boreM * boreM)
	reynolds := warm.DensityKgM3 * v * boreM / warm.ViscosityPaS
	f := 0.02 // Colebrook by repetition, as on paper
	for range 50 {
		f = math.Pow(-2*math.Log10(drawnTubeM/boreM/3.7+2.51/(reynolds*math.Sqrt(f))), -2)
	}
	want := (f*lengthM/boreM+zeta)*warm.DensityKgM3*v*v/2 + math.Pow(flowLPH/1000/kvM3H, 2)*1e5*warm.DensityKgM3/1000
	assert.InEpsilon(t, want/1000, r.IndexLossKPa, 1e-9)
	assert.Equal(t, pipework.NotKnown, r.Verdict, "there is no pump curve")
	assert.Equal(t, fmt.Sprintf("no pump curve is given. The pump must have at least %.1f kPa left for the pipework at 1200 l/h.", want/1000), r.Why)

	leg.Parallel, leg.LengthM = 2, 30
	s.Legs = []pipework.Leg{leg}
	halfLoss := s.Legs[0].LossAt(flowLPH, warm).TotalPa()
	leg.Parallel = 1
	assert.InEpsilon(t, leg.LossAt(flowLPH/2, warm).TotalPa(), halfLoss, 1e-12, "two pairs carry half each")
}

// Over random trees: the index circuit is the dearest way; more load costs
// more; more flow than the largest load is not to be had.
func TestDesignOverRandomTrees(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for range 150 {
		s := randomSystem(random, 30)
		r := s.Design()
		sumLPH := 0.0
		for i, l := range r.Legs {
			assert.LessOrEqual(t, l.CircuitLossKPa, r.IndexLossKPa*(1+1e-12))
			assert.InDelta(t, l.FrictionKPa+l.FittingsKPa+l.SetterKPa, l.LossKPa, 1e-9)
			if s.Legs[i].FlowLPH > 0 {
				sumLPH += s.Legs[i].FlowLPH
				assert.InDelta(t, r.IndexLossKPa, l.CircuitLossKPa+*l.BalanceKPa, 1e-9, "balanced, every circuit takes the same")
			}
		}
		assert.InEpsilon(t, sumLPH, r.FlowLPH, 1e-9)
		if !r.LargestIsAtLeast {
			assert.Equal(t, r.Verdict == pipework.Runs, *r.LargestLoadKW >= r.LoadKW)
			checkLargest(t, s, *r.LargestLoadKW/r.LoadKW)
		}
		more := scaled(s, 1.1).Design()
		assert.Greater(t, more.IndexLossKPa, r.IndexLossKPa)
		for i := range r.Legs {
			assert.Greater(t, more.Legs[i].LossKPa, r.Legs[i].LossKPa)
		}
	}
}

func scaled(s *pipework.System, factor float64) *pipework.System {
	other := *s
	other.Legs = append([]pipework.Leg{}, s.Legs...)
	for i := range other.Legs {
		other.Legs[i].FlowLPH *= factor
		other.Legs[i].LoadKW *= factor
	}
	return &other
}

// checkLargest: at the largest load head and loss are equal.
func checkLargest(t *testing.T, s *pipework.System, factor float64) {
	t.Helper()
	r := scaled(s, factor).Design()
	assert.InDelta(t, s.Pump.HeadKPa(r.FlowLPH), r.IndexLossKPa, 1e-6)
	assert.Equal(t, pipework.DoesNot, scaled(s, factor*1.001).Design().Verdict)
}

// What an option promises must hold: applied, the system runs.
func TestOptionsRun(t *testing.T) {
	r := design(t, "one-22")
	var changes []string
	for _, o := range r.Options {
		assert.GreaterOrEqual(t, o.SpareKPa, 0.0)
		changes = append(changes, o.Change)
	}
	assert.Equal(t, []string{
		`28x0.9 in place of 22x0.9 for "along the house"`,
		`2 pairs of 22x0.9 side by side for "along the house"`,
		`a difference of 6.0 K between flow and return; the emitters are then 0.50 K cooler in the mean, or the flow that much warmer: check their output`,
	}, changes)
	one28 := design(t, "one-28")
	assert.InDelta(t, *one28.SpareKPa, r.Options[0].SpareKPa, 1e-9, "the same as the record with that pipe")
	wider := design(t, "one-22", "flow_return_difference_k: 5", "flow_return_difference_k: 6")
	assert.Equal(t, pipework.Runs, wider.Verdict)
	assert.InEpsilon(t, r.Options[2].FlowLPH, wider.FlowLPH, 2e-3)
	pair := design(t, "one-22", "length_m: 24", "parallel: 2\n      length_m: 24")
	assert.InDelta(t, r.Options[1].SpareKPa, *pair.SpareKPa, 1e-9)
	assert.Empty(t, one28.Options, "what runs needs none")
}

// A floor loop is cured by splitting it, a weak setting of the pump by a
// stronger one, and what nothing cures gets no options.
func TestOptionsOfFloors(t *testing.T) {
	changes := func(edits ...string) string {
		r := design(t, "floors", edits...)
		assert.Equal(t, pipework.DoesNot, r.Verdict)
		text := ""
		for _, o := range r.Options {
			text += o.Change + "\n"
		}
		return text
	}
	long := changes("length_m: 85, parallel: 4", "length_m: 340, parallel: 4")
	assert.Contains(t, long, `8 loops of 170 m for "living room", the flow of each halved`)
	assert.Contains(t, long, `pump setting "3"`)
	assert.NotContains(t, long, "in place of", "no larger primaries cure a loop")
	assert.Empty(t, changes("serves_kw: 2.6", "serves_kw: 26"))
}

// Glycol is thicker and carries less heat: more flow and more loss.
func TestGlycolRaisesTheLoss(t *testing.T) {
	water := design(t, "one-28")
	previous := water
	for _, pct := range []string{"15", "25", "40"} {
		glycol := design(t, "one-28", "fluid: water", "fluid: propylene_glycol\n  fluid_concentration_pct: "+pct)
		assert.Greater(t, glycol.FlowLPH, previous.FlowLPH)
		assert.Greater(t, glycol.IndexLossKPa, previous.IndexLossKPa)
		previous = glycol
	}
	// At the same flow the turbulent loss rises by about the fourth root of the
	// viscosity (Blasius).
	thick := system(t, "one-28", "fluid: water", "fluid: propylene_glycol\n  fluid_concentration_pct: 25")
	thin := system(t, "one-28")
	pipe := thin.Legs[0].Pipe
	ratio := pipe.Stream(1700, thick.Liquid).LossPaPerM / pipe.Stream(1700, thin.Liquid).LossPaPerM
	want := math.Pow(thick.Liquid.ViscosityPaS/thin.Liquid.ViscosityPaS, 0.25) * math.Pow(thick.Liquid.DensityKgM3/thin.Liquid.DensityKgM3, 0.75)
	assert.InEpsilon(t, want, ratio, 0.02)
}

func TestFloorsWithSetters(t *testing.T) {
	r := design(t, "floors")
	assert.Equal(t, pipework.Runs, r.Verdict, r.Why)
	assert.InDelta(t, 6.4, r.LoadKW, 1e-9)
	assert.Equal(t, "2", r.PumpSetting)
	kitchen, hall := legOf(t, r, "kitchen"), legOf(t, r, "hall")
	assert.InDelta(t, 1.4, kitchen.LoadKW, 1e-9, "of the room")
	assert.InDelta(t, 2*120, *kitchen.OpenFlowLPH, 1e-6, "two loops held at what their setters say")
	assert.InDelta(t, 2*60, *hall.OpenFlowLPH, 1e-6)
	remarks := strings.Join(r.Remarks, "\n")
	assert.Contains(t, remarks, `"hall": its flow setter is set to 60 l/h, 98 l/h are needed.`)
	assert.Contains(t, remarks, `Pump setting "1" would do too`)
}

// What the maker asks for at least is driven too, at a smaller difference.
func TestMinimumFlowOfTheMaker(t *testing.T) {
	r := design(t, "two-22", "minimum_flow_lph: 900", "minimum_flow_lph: 1800")
	assert.InDelta(t, 1800, r.FlowLPH, 1e-9)
	assert.InEpsilon(t, 5*1736.6/1800, r.DifferenceK, 1e-3)
	assert.Equal(t, pipework.Runs, r.Verdict)
	assert.Contains(t, strings.Join(r.Remarks, "\n"), "The maker asks for 1800 l/h at least")
	assert.InDelta(t, *design(t, "two-22").LargestLoadKW, *r.LargestLoadKW, 1e-9, "the largest load is another question")
}

func TestVerdictIsNotKnown(t *testing.T) {
	curve := "pump_curve: [{flow_lph: 400, head_kpa: 62}, {flow_lph: 1000, head_kpa: 52}, {flow_lph: 1500, head_kpa: 36}, {flow_lph: 2000, head_kpa: 14}]"
	check := func(want, name string, edits ...string) *pipework.Result {
		t.Helper()
		r := design(t, name, edits...)
		assert.Equal(t, pipework.NotKnown, r.Verdict)
		assert.Contains(t, r.Why, want)
		assert.Empty(t, r.Options)
		return r
	}
	r := check("The pump must have at least 16.0 kPa", "two-22", curve, "")
	assert.Nil(t, r.HeadKPa)
	assert.Nil(t, r.LargestLoadKW)
	check("the pump curve ends at 1500 l/h and 1737 l/h are needed", "two-22", ", {flow_lph: 2000, head_kpa: 14}", "")
	check(`not given is what "upper floor" serves`, "two-22", "length_m: 12, serves_kw: 5,", "length_m: 12,")
	check(`the load of "kitchen": room "kitchen" has no design_loss_w`, "floors", ", design_loss_w: 1400", "")

	// Beyond the curve's end and short even of its last head.
	short := design(t, "one-22", ", {flow_lph: 2000, head_kpa: 14}", "")
	assert.Equal(t, pipework.DoesNot, short.Verdict)
	assert.Contains(t, short.Why, "short of at least")
	assert.Nil(t, short.SpareKPa)
}

func TestAssumptionsAreTold(t *testing.T) {
	r := design(t, "two-22", ", flow_temp_c: 45, flow_return_difference_k: 5", "", "fluid: water", "",
		", fittings: [{name: tee branch, count: 2}, {name: radiators and valves, kv_m3h: 4}]", "")
	told := strings.Join(r.Assumed, "\n")
	for _, want := range []string{"a flow temperature of 45 °C", "5 K between flow and return", "water (heat_pump.fluid)", `no loss in emitters, valves and fittings where none are listed: "ground floor"`} {
		assert.Contains(t, told, want)
	}
	glycol := design(t, "two-22", "fluid: water", "fluid: ethylene_glycol")
	assert.Equal(t, "ethylene glycol 30 % by volume", glycol.Fluid)
	shared := design(t, "floors", "serves_kw: 1.1", "serves_room: kitchen")
	assert.Contains(t, strings.Join(shared.Assumed, "\n"), `"hall" serves a half of room "kitchen", equal shares`)
	assert.InDelta(t, 0.7, legOf(t, shared, "hall").LoadKW, 1e-9)
}

func TestDifferenceOfALeg(t *testing.T) {
	r := design(t, "two-22", "length_m: 12, serves_kw: 5,", "length_m: 12, serves_kw: 5, flow_return_difference_k: 10,")
	assert.InEpsilon(t, 866.7/2, legOf(t, r, "upper floor").FlowLPH, 1e-3) // pipe_example.csv, half of 10 kW at 10 K
	assert.InEpsilon(t, 868.3, legOf(t, r, "ground floor").FlowLPH, 1e-3)
	assert.InDelta(t, 20.0/3, r.DifferenceK, 0.01)
}

func TestWhatCannotBeWorkedOut(t *testing.T) {
	_, err := pipework.Of(&site.Record{ID: "mill"})
	assert.ErrorIs(t, err, pipework.ErrNoPipework)
	record := &site.Record{Pipework: &site.Pipework{Legs: []site.Leg{{Name: "a", ServesKW: new(1.0)}}}, HeatPump: &site.HeatPump{Fluid: "brine"}}
	_, err = pipework.Of(record)
	assert.ErrorContains(t, err, `fluid "brine"`)
}

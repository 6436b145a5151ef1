package pipework_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/fluid"
	"coldweek/analysis/pipework"
)

const drawnTubeM = 1.5e-6

// waterAt3Bar is the water of copper_friction.csv, from the table of IAPWS-IF97.
func waterAt3Bar(t *testing.T) map[float64]pipework.Liquid {
	liquids := map[float64]pipework.Liquid{}
	for _, r := range readTable(t, "fluid/water_properties.csv") {
		if r.text("kind") == "table" && r.num("p_bar_abs") == 3 {
			liquids[r.num("t_C")] = pipework.Liquid{DensityKgM3: r.num("rho_kg_m3"), ViscosityPaS: r.num("mu_Pa_s")}
		}
	}
	return liquids
}

// warm is water at 45 °C and 3 bar.
var warm = pipework.Liquid{DensityKgM3: 990.3098, ViscosityPaS: 5.958069e-4}

func near(t *testing.T, want, got, digit float64, about ...any) {
	t.Helper()
	assert.InDelta(t, want, got, 0.501*digit+2e-6*math.Abs(want), about...)
}

// copper_friction.csv, every row to its last digit: laminar and turbulent losses
// apart, and their blend, which is ours.
func TestFrictionMatchesTable(t *testing.T) {
	liquids, rows := waterAt3Bar(t), readTable(t, "pipework/copper_friction.csv")
	for _, r := range rows {
		liquid := liquids[r.num("t_C")]
		pipe := pipework.Pipe{BoreM: r.num("id_mm") / 1000, RoughnessM: drawnTubeM}
		s := pipe.Stream(r.num("flow_l_h"), liquid)
		near(t, r.num("v_m_s"), s.VelocityMPerS, 1e-4)
		near(t, r.num("Re"), s.Reynolds, 1)
		near(t, r.num("dp_blend_Pa_m"), s.LossPaPerM, 1e-3, r.values)
		if s.Reynolds < 2040 || s.Reynolds > 4000 { // the table's own factor jumps between
			near(t, r.num("f_fluids"), s.Factor, 1e-6)
			near(t, r.num("dp_Pa_m"), s.LossPaPerM, 1e-3)
		}
		perFactor := liquid.DensityKgM3 * s.VelocityMPerS * s.VelocityMPerS / 2 / pipe.BoreM
		near(t, r.num("dp_lam_Pa_m"), 64/s.Reynolds*perFactor, 1e-3)
		near(t, r.num("dp_turb_Pa_m"), pipework.Colebrook(s.Reynolds, drawnTubeM/pipe.BoreM)*perFactor, 1e-3)
	}
	assert.Len(t, rows, 1824)
}

// pipe_example.csv is at 3 bar, coldweek's water at 16 bar: densities differ by
// 0.06 %, heat coefficients by 0.03 %.
func TestPipeExampleMatchesTable(t *testing.T) {
	const ratio = 1e-3
	rows := readTable(t, "pipework/pipe_example.csv")
	for _, r := range rows {
		flowC, returnC := r.num("t_flow"), r.num("t_return")
		totalLPH := pipework.FlowLPH(fluid.Water(), r.num("P_kW"), flowC, flowC-returnC)
		check := func(column string, got, digit float64) {
			assert.InDelta(t, r.num(column), got, digit/2+ratio*r.num(column), "%s of %v", column, r.values)
		}
		check("flow_total_l_h", totalLPH, 0.1)
		pipe := pipework.Pipe{BoreM: r.num("id_mm") / 1000, RoughnessM: drawnTubeM}
		meanC := (flowC + returnC) / 2
		liquid := pipework.Liquid{DensityKgM3: fluid.Water().DensityKgM3(meanC), ViscosityPaS: fluid.Water().ViscosityPaS(meanC)}
		s := pipe.Stream(totalLPH/r.num("n_parallel"), liquid)
		check("v_m_s", s.VelocityMPerS, 1e-3)
		check("Re", s.Reynolds, 1)
		check("Pa_m", s.LossPaPerM, 0.1)
		check("kPa_per_10m_one_way", s.LossPaPerM/100, 0.01)
		limits := pipework.DefaultLimits
		assert.Equal(t, r.text("verdict_vs_300Pa_m") == "over", s.LossPaPerM > limits.LossPaPerM)
		assert.Equal(t, r.text("verdict_vs_1.0m_s") == "over", s.VelocityMPerS > limits.VelocityMPerS)
	}
	assert.Len(t, rows, 30)
}

func TestColebrookMatchesTable(t *testing.T) {
	rows := readTable(t, "pipework/friction_factor.csv")
	for _, r := range rows {
		assert.InEpsilon(t, r.num("factor"), pipework.Colebrook(r.num("reynolds"), r.num("relative_roughness")), 1e-10, r.values)
	}
	assert.Len(t, rows, 99)
}

// The equation itself, over all pipes of heating and far beyond.
func TestColebrookSolvesItsEquation(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 5000 {
		reynolds, rough := math.Pow(10, 3.602+4.4*random.Float64()), math.Pow(10, -6+4.7*random.Float64())
		factor := pipework.Colebrook(reynolds, rough)
		residual := 1/math.Sqrt(factor) + 2*math.Log10(rough/3.7+2.51/(reynolds*math.Sqrt(factor)))
		assert.InDelta(t, 0, residual, 1e-12)
		assert.InEpsilon(t, factor, haaland(reynolds, rough), 0.015)
	}
}

// haaland is the explicit formula of J. Fluids Eng. 105:89 (1983), by its
// author within 1.5 % of Colebrook's; in drawn tube it is up to 1.2 % off.
func haaland(reynolds, rough float64) float64 {
	return math.Pow(-1.8*math.Log10(math.Pow(rough/3.7, 1.11)+6.9/reynolds), -2)
}

// Hagen and Poiseuille: loss = 128 µ L V/(π d⁴).
func TestLaminarFlowIsHagenPoiseuille(t *testing.T) {
	for _, boreM := range []float64{0.008, 0.012, 0.0202} {
		pipe := pipework.Pipe{BoreM: boreM, RoughnessM: 7e-6}
		for flowLPH := 1.0; ; flowLPH *= 1.3 {
			s := pipe.Stream(flowLPH, warm)
			if s.Reynolds > 2300 {
				break
			}
			want := 128 * warm.ViscosityPaS * flowLPH / 3.6e6 / (math.Pi * math.Pow(boreM, 4))
			assert.InEpsilon(t, want, s.LossPaPerM, 1e-12)
		}
	}
}

// Without a jump anywhere: the loss at twice the flow is more, and close by it
// is close by.
func TestLossRisesWithFlowWithoutJumps(t *testing.T) {
	for _, boreM := range []float64{0.008, 0.0262, 0.054} {
		for _, roughnessM := range []float64{0, 1.5e-6, 45e-6} {
			pipe := pipework.Pipe{BoreM: boreM, RoughnessM: roughnessM}
			before := pipe.Stream(1, warm)
			for flowLPH := 1.001; flowLPH < 20000; flowLPH *= 1.001 {
				s := pipe.Stream(flowLPH, warm)
				require.Greater(t, s.LossPaPerM, before.LossPaPerM)
				require.Less(t, s.LossPaPerM, 1.005*before.LossPaPerM)
				before = s
			}
		}
	}
}

func TestNothingFlows(t *testing.T) {
	pipe := pipework.Pipe{BoreM: 0.02, RoughnessM: drawnTubeM}
	assert.Zero(t, pipe.Stream(0, warm))
	leg := pipework.Leg{Pipe: pipe, LengthM: 10, Zeta: 3, KvM3H: 2, Parallel: 2, Setter: &pipework.Setter{KvM3H: 1}}
	assert.Zero(t, leg.LossAt(0, warm).TotalPa())
}

// Common practice, no source: about 2,000 l/h carries 10 kW at 4.3 to 5 K.
func TestFlowOf10KW(t *testing.T) {
	assert.InEpsilon(t, 2000, pipework.FlowLPH(fluid.Water(), 10, 45, 4.3), 0.015)
	assert.InEpsilon(t, 1737, pipework.FlowLPH(fluid.Water(), 10, 45, 5), 0.001) // pipe_example.csv
}

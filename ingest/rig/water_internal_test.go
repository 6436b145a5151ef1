package rig

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/ingest/checktable"
)

// Source: testdata/fluid/water_fit.csv, the fit itself.
func TestWaterIsThePublishedFit(t *testing.T) {
	at := map[string]func(float64) float64{"rho_kg_m3": densityKgPerM3, "h_kJ_kg": func(c float64) float64 { return enthalpyJPerKg(c) / 1e3 }}
	for _, waterC := range []float64{0.5, 20, 35, 55, 90} {
		sum := map[string]float64{}
		power := map[string]float64{"rho_kg_m3": 1, "h_kJ_kg": 1}
		for _, row := range checktable.Read(t, "../../testdata/fluid/water_fit.csv") {
			q := row["quantity"]
			sum[q] += checktable.Number(t, row["coefficient"]) * power[q]
			power[q] *= waterC
		}
		for q, want := range sum {
			assert.InEpsilon(t, want, at[q](waterC), 1e-9, "%s at %g °C", q, waterC)
		}
	}
}

// Source: testdata/fluid/heat_coefficient.csv, EN 1434-1 coefficients from
// IAPWS-IF97 at 3 bar (sensor in the return). The tolerance is the fit's own
// stated error: 8.32 J/kg at either end and 0.0124 kg/m³.
func TestHeatCoefficientAgreesWithIF97(t *testing.T) {
	checked := 0
	for _, row := range checktable.Read(t, "../../testdata/fluid/heat_coefficient.csv") {
		flowC, returnC := checktable.Number(t, row["t_flow_C"]), checktable.Number(t, row["t_return_C"])
		if flowC > 95 {
			continue
		}
		gotKWhPerM3K := densityKgPerM3(returnC) * (enthalpyJPerKg(flowC) - enthalpyJPerKg(returnC)) / (flowC - returnC) / 3.6e6
		want := checktable.Number(t, row["k_ret_3bar"])
		tolerance := want * (2*8.32/(4170*(flowC-returnC)) + 0.0124/980)
		assert.InDelta(t, want, gotKWhPerM3K, tolerance, "%g/%g", flowC, returnC)
		checked++
	}
	assert.Greater(t, checked, 20)
}

// The mean of a day's gains must be what the plant says.
func TestDayRhythmHasAMeanOfOne(t *testing.T) {
	sum := 0.0
	for minute := range 24 * 60 {
		sum += gainShare(float64(minute) / 60)
	}
	assert.InDelta(t, 1, sum/(24*60), 1e-9)
}

// Source: worked by hand from the exponent law of EN 442 and a straight line
// through the last two points.
func TestCurveDrawsItsEndsOn(t *testing.T) {
	curve := []CurvePoint{{-10, 45}, {0, 38}, {15, 26}}
	for outdoorC, flowC := range map[float64]float64{-10: 45, -5: 41.5, 0: 38, 7.5: 32, 15: 26, 20: 22, -20: 52} {
		assert.InDelta(t, flowC, curveAt(curve, outdoorC), 1e-9, "%g °C", outdoorC)
	}
}

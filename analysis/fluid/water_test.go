package fluid

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// IAPWS R7-97(2012), Table 5: values to check a program of region 1 by, all nine
// digits.
func TestRegion1GivesPublishedCheckValues(t *testing.T) {
	for _, c := range []struct {
		tempK, pressurePa                         float64
		volumeM3Kg, enthalpyJKg, heatCapacityJKgK string
	}{
		{300, 3e6, "1.00215168e-03", "1.15331273e+05", "4.17301218e+03"},
		{300, 80e6, "9.71180894e-04", "1.84142828e+05", "4.01008987e+03"},
		{500, 3e6, "1.20241800e-03", "9.75542239e+05", "4.65580682e+03"},
	} {
		w, tempC := newRegion1(c.pressurePa), c.tempK-celsiusToKelvinK
		assert.Equal(t, c.volumeM3Kg, fmt.Sprintf("%.8e", 1/w.densityKgM3(tempC)))
		assert.Equal(t, c.enthalpyJKg, fmt.Sprintf("%.8e", w.enthalpyJKg(tempC)))
		assert.Equal(t, c.heatCapacityJKgK, fmt.Sprintf("%.8e", w.heatCapacityJKgK(tempC)))
	}
}

// IAPWS R12-08, Table 4: values to check a program by, without the critical
// enhancement.
func TestWaterViscosityGivesPublishedCheckValues(t *testing.T) {
	for _, c := range []struct{ tempK, densityKgM3, viscosityMicroPaS float64 }{
		{298.15, 998, 889.735100}, {298.15, 1200, 1437.649467}, {373.15, 1000, 307.883622},
		{433.15, 1, 14.538324}, {433.15, 1000, 217.685358}, {873.15, 1, 32.619287},
		{873.15, 100, 35.802262}, {873.15, 600, 77.430195}, {1173.15, 1, 44.217245},
		{1173.15, 100, 47.640433}, {1173.15, 400, 64.154608},
	} {
		assert.InDelta(t, c.viscosityMicroPaS, waterViscosityPaS(c.tempK, c.densityKgM3)*1e6, half(1e-6))
	}
}

// water_properties.csv: IF97 and R12-08 by another program, 1 to 16 bar.
func TestWaterMatchesTableToItsPrintedDigits(t *testing.T) {
	rows := readTable(t, "water_properties.csv")
	for _, r := range rows {
		w, tempC := newRegion1(r.num("p_bar_abs")*1e5), r.num("t_C")
		where := fmt.Sprintf("%s bar, %s °C", r.text("p_bar_abs"), r.text("t_C"))
		assert.InDelta(t, r.num("rho_kg_m3"), w.densityKgM3(tempC), half(1e-4), where)
		assert.InDelta(t, r.num("cp_kJ_kgK")*1e3, w.heatCapacityJKgK(tempC), half(1e-2), where)
		assert.InDelta(t, r.num("h_kJ_kg")*1e3, w.enthalpyJKg(tempC), half(1e-1), where)
		assert.InEpsilon(t, r.num("mu_Pa_s"), w.viscosityPaS(tempC), half(1e-6), where)
	}
	assert.Len(t, rows, 83)
}

// water_fit.csv: polynomials fitted to IF97 at 3 bar elsewhere, with the largest
// error of the fit.
func TestWaterStaysWithinIndependentFit(t *testing.T) {
	coefficients, maxError := map[string][]float64{}, map[string]float64{}
	for _, r := range readTable(t, "water_fit.csv") {
		quantity := r.text("quantity")
		coefficients[quantity] = append(coefficients[quantity], r.num("coefficient"))
		maxError[quantity] = r.num("max_abs_error")
	}
	w := newRegion1(3e5)
	for tempC := 0.1; tempC <= 95; tempC += 0.1 {
		require.InDelta(t, polynomial(coefficients["rho_kg_m3"], tempC), w.densityKgM3(tempC), 1.01*maxError["rho_kg_m3"])
		require.InDelta(t, polynomial(coefficients["h_kJ_kg"], tempC), w.enthalpyJKg(tempC)/1e3, 1.01*maxError["h_kJ_kg"])
	}
}

// Supercooled water at 1 atm: density 998.117 kg/m³ at -10 °C and 993.547 at
// -20 °C (CRC Handbook of Chemistry and Physics, after Kell 1975); viscosity
// 2.668 mPa·s at -10 °C (www1.lsbu.ac.uk/water/data1.html).
func TestWaterCarriesOnBelowFreezing(t *testing.T) {
	w := newRegion1(101325)
	assert.InDelta(t, 998.117, w.densityKgM3(-10), 0.01)
	assert.InDelta(t, 993.547, w.densityKgM3(-20), 0.05)
	assert.InEpsilon(t, 2.668e-3, w.viscosityPaS(-10), 0.01)
}

// At 1 atm water is densest at 3.98 °C (CIPM, Tanaka 2001: 999.975 kg/m³ at
// 3.983 °C).
func TestWaterIsDensestAtFourDegrees(t *testing.T) {
	w := newRegion1(101325)
	densestC := 0.0
	for tempC := 0.0; tempC < 10; tempC += 0.01 {
		if w.densityKgM3(tempC) > w.densityKgM3(densestC) {
			densestC = tempC
		}
	}
	assert.InDelta(t, 3.983, densestC, 0.03)
	assert.InDelta(t, 999.975, w.densityKgM3(densestC), 0.003)
}

func TestWaterIsKnownWhereWaterFlows(t *testing.T) {
	for tempC := -40.0; tempC <= 160; tempC += 0.5 {
		known := tempC >= -10 && tempC <= 150
		for name, value := range map[string]float64{
			"density":       Water().DensityKgM3(tempC),
			"enthalpy":      Water().EnthalpyJKg(tempC),
			"heat capacity": Water().HeatCapacityJKgK(tempC),
			"viscosity":     Water().ViscosityPaS(tempC),
			"heat power":    Water().HeatPowerW(1000, tempC, 20, MeterInReturn),
			"coefficient":   Water().HeatCoefficientJM3K(20, tempC, MeterInReturn),
		} {
			require.Equal(t, known, !math.IsNaN(value), "%s at %g °C", name, tempC)
		}
	}
	assert.Zero(t, Water().FreezingC())
	assert.Zero(t, Water().UncertaintyRatio())
	assert.Equal(t, "water", Water().String())
	assert.Same(t, Water(), Water())
}

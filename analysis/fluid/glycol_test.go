package fluid

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// glycolOf makes the mixture of a line of glycol_properties.csv, at the
// concentration in a column and by a basis.
func glycolOf(r row, column, basis string) (*Fluid, error) {
	return ForName(r.text("fluid"), r.num(column), basis)
}

// tolerance is how far a mixture may be from a table.
type tolerance struct {
	densityKgM3, heatCapacityJKgK, viscosityRatio, freezingK float64
}

// glycolTolerance is, for rows computed from the polynomials, half a printed
// digit; for rows that are the ASHRAE tables themselves, what the fit leaves
// (documented at correlations). Between tabulated freezing points the check
// table runs straight.
func glycolTolerance(r row) tolerance {
	viscosityRatio := half(1e-3) / r.num("mu_mPa_s")
	switch {
	case r.text("method") == "grid":
		return tolerance{0.06, 0.6, 0.05, freezingErrorK}
	case r.text("basis") == "volume":
		return tolerance{half(1e-2), half(1e-1), viscosityRatio, freezingErrorK}
	}
	return tolerance{half(1e-2), half(1e-1), viscosityRatio, half(1e-2)}
}

// misprinted is one point of the ASHRAE table, 10 % ethylene glycol by volume at
// 30 °C: 1009.62 kg/m³ where its neighbours 1011.69 and 1008.02 want 1009.9.
func misprinted(r row) bool {
	return r.text("method") == "grid" && r.text("fluid") == "ethylene_glycol" && r.num("pct") == 10 && r.num("t_C") == 30
}

// glycol_properties.csv: ASHRAE 2001 as tabulated (method grid), and ASHRAE and
// Melinder 2010 evaluated from their polynomials by another program.
func TestGlycolMatchesTable(t *testing.T) {
	checked := map[string]int{}
	for _, r := range readTable(t, "glycol_properties.csv") {
		if r.num("pct") == 0 || r.text("flag") == "extrap" || misprinted(r) {
			continue
		}
		f, err := glycolOf(r, "pct", r.text("basis"))
		require.NoError(t, err)
		tempC, tol, where := r.num("t_C"), glycolTolerance(r), fmt.Sprintf("%s at %s °C", f, r.text("t_C"))
		assert.InDelta(t, r.num("rho_kg_m3"), f.DensityKgM3(tempC), tol.densityKgM3, where)
		assert.InDelta(t, r.num("cp_kJ_kgK")*1e3, f.HeatCapacityJKgK(tempC), tol.heatCapacityJKgK, where)
		assert.InEpsilon(t, r.num("mu_mPa_s")*1e-3, f.ViscosityPaS(tempC), tol.viscosityRatio, where)
		assert.InDelta(t, r.num("freeze_C"), f.FreezingC(), tol.freezingK, where)
		checked[r.text("basis")+" "+r.text("method")]++
	}
	assert.Equal(t, map[string]int{"mass poly": 130, "volume poly": 30, "volume grid": 113}, checked)
}

// rho·cp of glycol against water at the same temperature, as the check table has
// it; water at 3 bar as there. It is what water-calibrated heat is too high by.
func TestGlycolCarriesLessHeatThanWater(t *testing.T) {
	w := newRegion1(3e5)
	for _, r := range readTable(t, "glycol_properties.csv") {
		if r.num("pct") == 0 || r.text("flag") == "extrap" || r.num("t_C") <= 0 || misprinted(r) {
			continue
		}
		f, err := glycolOf(r, "pct", r.text("basis"))
		require.NoError(t, err)
		tempC := r.num("t_C")
		ratio := f.DensityKgM3(tempC) * f.HeatCapacityJKgK(tempC) / (w.densityKgM3(tempC) * w.heatCapacityJKgK(tempC))
		assert.InDelta(t, r.num("ratio_rhocp_to_water_same_t"), ratio, 0.0002, "%s at %g °C", f, tempC)
	}
}

// Two sources at equal concentration. Ethylene glycol of 10 % differs by more
// than UncertaintyRatio; the package says so.
func TestSourcesAgreeWithinUncertainty(t *testing.T) {
	compared := 0
	for _, r := range readTable(t, "glycol_properties.csv") {
		if r.num("pct") == 0 || r.text("basis") != "volume" {
			continue
		}
		melinder, err := glycolOf(r, "pct_mass", "mass")
		if err != nil {
			continue // below the data of propylene glycol
		}
		ashrae, err := glycolOf(r, "pct", "volume")
		require.NoError(t, err)
		tempC, limit := r.num("t_C"), ashrae.UncertaintyRatio()
		if r.text("fluid") == "ethylene_glycol" && r.num("pct") == 10 {
			limit = 0.0175
		}
		rhoCp := func(f *Fluid) float64 { return f.DensityKgM3(tempC) * f.HeatCapacityJKgK(tempC) }
		if math.IsNaN(rhoCp(melinder)) {
			continue // the freezing points differ
		}
		assert.InEpsilon(t, rhoCp(ashrae), rhoCp(melinder), limit, "%s at %g °C", ashrae, tempC)
		compared++
	}
	assert.Greater(t, compared, 100)
}

// Without glycol Melinder's ethylene glycol must become water (IF97 at 3 bar).
func TestDiluteGlycolBecomesWater(t *testing.T) {
	f, err := Glycol(EthyleneGlycol, 0.01, ByMass)
	require.NoError(t, err)
	w := newRegion1(3e5)
	for tempC := 10.0; tempC <= 80; tempC += 10 {
		assert.InEpsilon(t, w.densityKgM3(tempC), f.DensityKgM3(tempC), 1.5e-3)
		assert.InEpsilon(t, w.heatCapacityJKgK(tempC), f.HeatCapacityJKgK(tempC), 3e-3)
		assert.InEpsilon(t, w.viscosityPaS(tempC), f.ViscosityPaS(tempC), 0.03)
	}
	assert.InDelta(t, 0, f.FreezingC(), 0.02)
}

func TestGlycolIsKnownFromFreezingTo100(t *testing.T) {
	f, err := Glycol(PropyleneGlycol, 25, ByVolume)
	require.NoError(t, err)
	minimumC, maximumC := f.RangeC()
	assert.Equal(t, f.FreezingC()-freezingErrorK, minimumC)
	assert.Equal(t, 100.0, maximumC)
	assert.False(t, math.IsNaN(f.DensityKgM3(-10))) // -10.00 °C as tabulated
	for _, tempC := range []float64{-10.2, 100.1, math.NaN()} {
		assert.True(t, math.IsNaN(f.DensityKgM3(tempC)))
		assert.True(t, math.IsNaN(f.EnthalpyJKg(tempC)))
		assert.True(t, math.IsNaN(f.ViscosityPaS(tempC)))
		assert.True(t, math.IsNaN(f.HeatPowerW(1000, tempC, 20, MeterInReturn)))
	}
}

func TestForNameMakesFluid(t *testing.T) {
	check := func(name string, pct float64, basis, want string, uncertainty float64) {
		t.Helper()
		f, err := ForName(name, pct, basis)
		require.NoError(t, err)
		assert.Equal(t, want, f.String())
		assert.Equal(t, uncertainty, f.UncertaintyRatio())
	}
	check("", 0, "", "water", 0)
	check("water", 0, "mass", "water", 0)
	check("propylene_glycol", 25, "", "propylene glycol 25 % by volume", 0.01)
	check("propylene_glycol", 32.5, "mass", "propylene glycol 32.5 % by mass", 0.01)
	check("ethylene_glycol", 30, "volume", "ethylene glycol 30 % by volume", 0.015)
}

func TestForNameSaysWhatWouldBeRight(t *testing.T) {
	check := func(name string, pct float64, basis, want string) {
		t.Helper()
		_, err := ForName(name, pct, basis)
		assert.EqualError(t, err, want)
	}
	check("brine", 25, "", `fluid "brine": not known; use water, propylene_glycol or ethylene_glycol`)
	check("water", 25, "", `fluid "water": water has no concentration, got 25 %; name the glycol`)
	check("", 25, "", `fluid "": water has no concentration, got 25 %; name the glycol`)
	check("propylene_glycol", 25, "weight", `fluid "propylene_glycol": concentration basis "weight": use volume or mass`)
	check("propylene_glycol", 0, "", "fluid propylene glycol: the concentration in % is missing; without glycol it is water")
	check("propylene_glycol", 9, "", "fluid propylene glycol 9 % by volume: ASHRAE 2001 has data from 10 to 60 %")
	check("propylene_glycol", 10, "mass", "fluid propylene glycol 10 % by mass: Melinder 2010 has data from 15 to 57 %")
	check("ethylene_glycol", 61, "mass", "fluid ethylene glycol 61 % by mass: Melinder 2010 has data from 0 to 60 %")
	check("ethylene_glycol", math.NaN(), "", "fluid ethylene glycol NaN % by volume: ASHRAE 2001 has data from 10 to 60 %")
	_, err := Glycol(Kind(7), 25, Basis(7))
	assert.EqualError(t, err, "fluid glycol kind 7 basis 7: no such mixture")
}

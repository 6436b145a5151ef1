package fluid

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const kilowattHour = 3.6e6 // J

// heat_coefficient.csv: the definition of EN 1434-1 with IF97 by another
// program, at 16 bar and at 3 bar.
func TestHeatCoefficientMatchesTableToItsPrintedDigits(t *testing.T) {
	house := newFluid("water at 3 bar", newRegion1(3e5), minimumWaterC, maximumWaterC)
	rows := readTable(t, "heat_coefficient.csv")
	for _, r := range rows {
		flowC, returnC := r.num("t_flow_C"), r.num("t_return_C")
		where := fmt.Sprintf("%g/%g °C", flowC, returnC)
		check := func(column string, f *Fluid, meter Position) {
			t.Helper()
			got := f.HeatCoefficientJM3K(flowC, returnC, meter) / kilowattHour
			assert.InDelta(t, r.num(column), got, half(1e-6), where)
		}
		check("k_return_kWh_m3K", Water(), MeterInReturn)
		check("k_flow_kWh_m3K", Water(), MeterInFlow)
		check("k_ret_3bar", house, MeterInReturn)
	}
	assert.Len(t, rows, 116)
}

// At no difference k is rho·cp: 4152.97 kJ/(m³·K) for water at 16 bar and 35 °C
// (water_properties.csv); the limit meets the quotient without a step.
func TestHeatCoefficientHasLimit(t *testing.T) {
	for _, meter := range []Position{MeterInReturn, MeterInFlow} {
		assert.InDelta(t, 4152.97e3, Water().HeatCoefficientJM3K(35, 35, meter), half(10))
		below := Water().HeatCoefficientJM3K(35+limitK*0.999, 35, meter)
		above := Water().HeatCoefficientJM3K(35+limitK*1.001, 35, meter)
		assert.InEpsilon(t, below, above, 1e-6)
	}
}

// By hand from water_properties.csv at 16 bar: 1.2 m³/h · 996.3175 kg/m³ ·
// (148.0774 - 127.2000) kJ/kg / 3600 s = 6.9335 kW.
func TestHeatPowerOfOneHeatPump(t *testing.T) {
	assert.InDelta(t, 6933.5, Water().HeatPowerW(1200, 35, 30, MeterInReturn), 0.05)
	assert.InDelta(t, 6933.5*994.6977/996.3175, Water().HeatPowerW(1200, 35, 30, MeterInFlow), 0.05)
}

// everyFluid is water and mixtures over the whole range of both sources.
func everyFluid(t *testing.T) []*Fluid {
	t.Helper()
	fluids := []*Fluid{Water()}
	for kind, byBasis := range correlations {
		for basis, c := range byBasis {
			for _, pct := range []float64{max(c.minimumPct, 1), 25, 40, c.maximumPct} {
				f, err := Glycol(kind, pct, basis)
				require.NoError(t, err)
				fluids = append(fluids, f)
			}
		}
	}
	return fluids
}

// The bounds HeatPowerW states for its table.
func TestTableStaysCloseToFullFormulation(t *testing.T) {
	for _, f := range everyFluid(t) {
		minimumC, maximumC := f.RangeC()
		for tempC := minimumC; tempC <= maximumC; tempC += 0.013 {
			densityKgM3, enthalpyJKg := f.table.at(tempC)
			require.InEpsilon(t, f.DensityKgM3(tempC), densityKgM3, 3e-7, "%s at %g °C", f, tempC)
			require.InDelta(t, f.EnthalpyJKg(tempC), enthalpyJKg, 0.1, "%s at %g °C", f, tempC)
		}
	}
}

func TestHeatPowerMatchesHeatCoefficient(t *testing.T) {
	for _, f := range everyFluid(t) {
		for returnC := 2.0; returnC < 80; returnC += 1.7 {
			for _, meter := range []Position{MeterInReturn, MeterInFlow} {
				want := f.HeatCoefficientJM3K(returnC+5, returnC, meter) * 1.2 / 3600 * 5
				require.InEpsilon(t, want, f.HeatPowerW(1200, returnC+5, returnC, meter), 1e-5, "%s at %g °C", f, returnC)
			}
		}
	}
}

func TestEnthalpyRisesAsHeatCapacitySays(t *testing.T) {
	for _, f := range everyFluid(t) {
		minimumC, maximumC := f.RangeC()
		const stepK = 0.01
		for tempC := minimumC; tempC+stepK <= maximumC; tempC += 0.25 {
			slope := (f.EnthalpyJKg(tempC+stepK) - f.EnthalpyJKg(tempC)) / stepK
			require.InEpsilon(t, f.HeatCapacityJKgK(tempC+stepK/2), slope, 1e-6, "%s at %g °C", f, tempC)
			require.Greater(t, slope, 2500.0)
		}
	}
}

// Reversing the flow also moves the meter to the other pipe: then heat changes
// its sign alone. With the meter left in place the densities differ as well.
func TestHeatPowerIsAntisymmetric(t *testing.T) {
	for _, f := range everyFluid(t) {
		for warmC := 5.0; warmC <= 90; warmC += 3.3 {
			heatW := f.HeatPowerW(900, warmC, 5, MeterInReturn)
			assert.Equal(t, heatW, -f.HeatPowerW(900, 5, warmC, MeterInFlow))
			assert.Equal(t, heatW, -f.HeatPowerW(-900, warmC, 5, MeterInReturn))
			assert.InDelta(t, heatW*f.DensityKgM3(warmC)/f.DensityKgM3(5),
				-f.HeatPowerW(900, 5, warmC, MeterInReturn), 1e-6*math.Abs(heatW)+1e-9)
		}
	}
}

// The ends of every range are known, and whatever a sensor sends is answered.
func TestHeatPowerAnswersAnyReading(t *testing.T) {
	for _, f := range everyFluid(t) {
		minimumC, maximumC := f.RangeC()
		assert.False(t, math.IsNaN(f.HeatPowerW(1, minimumC, maximumC, MeterInFlow)), f)
		for _, tempC := range []float64{
			math.Nextafter(minimumC, -1e9), math.Nextafter(maximumC, 1e9),
			-273.15, -1e300, 1e300, math.Inf(-1), math.Inf(1), math.NaN(),
		} {
			assert.True(t, math.IsNaN(f.HeatPowerW(1000, tempC, 20, MeterInReturn)), "%s at %g °C", f, tempC)
			assert.True(t, math.IsNaN(f.HeatPowerW(1000, 20, tempC, MeterInReturn)), "%s at %g °C", f, tempC)
			assert.True(t, math.IsNaN(f.HeatCoefficientJM3K(tempC, tempC, MeterInReturn)), "%s at %g °C", f, tempC)
		}
		assert.True(t, math.IsNaN(f.HeatPowerW(math.NaN(), 35, 30, MeterInReturn)))
	}
}

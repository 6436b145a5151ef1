package fluid

import "math"

// litresPerHour is 1 l/h in m³/s.
const litresPerHour = 1e-3 / 3600

// limitK is the difference of flow and return below which the heat coefficient
// is its limit: the difference of enthalpies would lose its digits.
const limitK = 0.01

// HeatCoefficientJM3K returns EN 1434's heat coefficient k, so that heat is
// k·V·(flow - return):
//
//	k = rho(T at the meter)·(h(flow) - h(return)) / (flow - return)
//
// and rho(T at the meter)·cp when flow and return are less than 0.01 K apart.
// Divide by 3.6e6 for kWh/(m³·K).
func (f *Fluid) HeatCoefficientJM3K(flowC, returnC float64, meter Position) float64 {
	densityKgM3 := f.DensityKgM3(meter.choose(flowC, returnC))
	differenceK := flowC - returnC
	if math.Abs(differenceK) < limitK {
		return densityKgM3 * f.HeatCapacityJKgK((flowC+returnC)/2)
	}
	return densityKgM3 * (f.EnthalpyJKg(flowC) - f.EnthalpyJKg(returnC)) / differenceK
}

// HeatPowerW returns V·rho(T at the meter)·(h(flow) - h(return)): the heat given
// to the building, negative when the circuit draws heat, as in a defrost.
//
// It reads a table of density and enthalpy every 1/4 K and runs straight between
// its points: up to 3e-7 of density and 0.1 J/kg from the full formulations,
// which is 1e-5 of the heat at a difference of 5 K.
func (f *Fluid) HeatPowerW(flowLPH, flowC, returnC float64, meter Position) float64 {
	flowDensityKgM3, flowJKg := f.table.at(flowC)
	returnDensityKgM3, returnJKg := f.table.at(returnC)
	densityKgM3 := meter.choose(flowDensityKgM3, returnDensityKgM3)
	return flowLPH * litresPerHour * densityKgM3 * (flowJKg - returnJKg)
}

// choose picks the value of the pipe the meter sits in.
func (p Position) choose(flowValue, returnValue float64) float64 {
	if p == MeterInFlow {
		return flowValue
	}
	return returnValue
}

// pointsPerK is how close the points of a table lie; a power of two keeps the
// step exact.
const pointsPerK = 4

type point struct{ densityKgM3, enthalpyJKg float64 }

// table holds density and enthalpy from minimumC up to at least maximumC.
type table struct {
	minimumC, maximumC float64
	points             []point
}

func newTable(exact formulation, minimumC, maximumC float64) table {
	// One point more than the range has steps, and one for a range that ends
	// between two points.
	points := make([]point, int((maximumC-minimumC)*pointsPerK)+2)
	for i := range points {
		tempC := minimumC + float64(i)/pointsPerK
		points[i] = point{exact.densityKgM3(tempC), exact.enthalpyJKg(tempC)}
	}
	return table{minimumC, maximumC, points}
}

// holds is false for NaN.
func (t *table) holds(tempC float64) bool { return tempC >= t.minimumC && tempC <= t.maximumC }

func (t *table) at(tempC float64) (densityKgM3, enthalpyJKg float64) {
	if !t.holds(tempC) {
		return math.NaN(), math.NaN()
	}
	steps := (tempC - t.minimumC) * pointsPerK
	i := int(steps)
	a, b, part := t.points[i], t.points[i+1], steps-float64(i)
	return a.densityKgM3 + part*(b.densityKgM3-a.densityKgM3), a.enthalpyJKg + part*(b.enthalpyJKg-a.enthalpyJKg)
}

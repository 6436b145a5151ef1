package fluid

import "math"

// The reference constants of IAPWS R12-08, section 2.1.
const (
	criticalK             = 647.096
	criticalDensityKgM3   = 322.0
	referenceViscosityPaS = 1e-6
)

// diluteGas is Table 1 of IAPWS R12-08, by power of inverse temperature.
var diluteGas = [4]float64{1.67752, 2.20462, 0.6366564, -0.241605}

// finiteDensity is Table 2 of IAPWS R12-08: rows by power of inverse
// temperature - 1, columns by power of density - 1.
var finiteDensity = [6][7]float64{
	{5.20094e-1, 2.22531e-1, -2.81378e-1, 1.61913e-1, -3.25372e-2, 0, 0},
	{8.50895e-2, 9.99115e-1, -9.06851e-1, 2.57399e-1, 0, 0, 0},
	{-1.08374, 1.88797, -7.72479e-1, 0, 0, 0, 0},
	{-2.89555e-1, 1.26613, -4.89837e-1, 0, 6.98452e-2, 0, -4.35673e-3},
	{0, 0, -2.57040e-1, 0, 0, 8.72102e-3, 0},
	{0, 1.20573e-1, 0, 0, 0, 0, -5.93264e-4},
}

// waterViscosityPaS is the dynamic viscosity of IAPWS R12-08 without the
// critical enhancement, which is 1 far from the critical point.
func waterViscosityPaS(tempK, densityKgM3 float64) float64 {
	ratioT, density := tempK/criticalK, densityKgM3/criticalDensityKgM3
	dilute := 100 * math.Sqrt(ratioT) / polynomial(diluteGas[:], 1/ratioT)
	var byDensity [6]float64
	for i := range finiteDensity {
		byDensity[i] = polynomial(finiteDensity[i][:], density-1)
	}
	finite := math.Exp(density * polynomial(byDensity[:], 1/ratioT-1))
	return referenceViscosityPaS * dilute * finite
}

// polynomial returns the sum of coefficients[i]·x^i.
func polynomial(coefficients []float64, x float64) float64 {
	total := 0.0
	for i := len(coefficients) - 1; i >= 0; i-- {
		total = total*x + coefficients[i]
	}
	return total
}

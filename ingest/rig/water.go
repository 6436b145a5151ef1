package rig

// Water by least-squares polynomials in °C to IAPWS-IF97 at 3 bar absolute,
// 0.1 to 95 °C, 400 points; largest error 0.0124 kg/m³ and 8.3 J/kg
// (testdata/fluid/water_fit.csv).

// densityKgPerM3 of water.
func densityKgPerM3(waterC float64) float64 {
	t := waterC
	return 9.999583636687e+02 + t*(6.050144162416e-02+t*(-8.326601120153e-03+
		t*(6.568524834458e-05+t*(-4.193048878777e-07+t*1.198228068493e-09))))
}

// enthalpyJPerKg of water.
func enthalpyJPerKg(waterC float64) float64 {
	t := waterC
	return 1e3 * (2.721211687554e-01 + t*(4.213931587420e+00+t*(-1.181799273540e-03+
		t*(1.791902831733e-05+t*(-1.297623985113e-07+t*4.475233948168e-10)))))
}

// waterJPerKgK is what a kilogram of standing water stores, near 35 °C.
const waterJPerKgK = 4180.0

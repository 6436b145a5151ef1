package pipework

import "math"

// Reynolds numbers between which flow is neither laminar nor turbulent.
const (
	laminarReynolds   = 2300
	turbulentReynolds = 4000
)

// litresPerHour is 1 l/h in m³/s.
const litresPerHour = 1e-3 / 3600

// Liquid is what flows, at the mean of flow and return temperature.
type Liquid struct {
	DensityKgM3  float64
	ViscosityPaS float64
}

// Pipe is a round pipe by bore and roughness.
type Pipe struct {
	BoreM      float64
	RoughnessM float64
}

// Stream is a flow through a pipe.
type Stream struct {
	VelocityMPerS float64
	Reynolds      float64
	// Factor is Darcy's friction factor, 0 when nothing flows.
	Factor     float64
	LossPaPerM float64
}

// Stream returns how a flow runs through the pipe.
func (p Pipe) Stream(flowLPH float64, l Liquid) Stream {
	velocity := flowLPH * litresPerHour / (math.Pi * p.BoreM * p.BoreM / 4)
	reynolds := l.DensityKgM3 * velocity * p.BoreM / l.ViscosityPaS
	if !(reynolds > 0) {
		return Stream{}
	}
	factor := FrictionFactor(reynolds, p.RoughnessM/p.BoreM)
	return Stream{
		VelocityMPerS: velocity, Reynolds: reynolds, Factor: factor,
		LossPaPerM: factor * velocityHeadPa(velocity, l) / p.BoreM,
	}
}

func velocityHeadPa(velocityMPerS float64, l Liquid) float64 {
	return l.DensityKgM3 * velocityMPerS * velocityMPerS / 2
}

// FrictionFactor returns Darcy's friction factor: 64/Re up to 2300 (Hagen and
// Poiseuille), Colebrook's from 4000 on, and a straight line between the two
// ends, so that the loss rises with the flow throughout. The Reynolds number
// is above 0.
func FrictionFactor(reynolds, relativeRoughness float64) float64 {
	switch {
	case reynolds <= laminarReynolds:
		return 64 / reynolds
	case reynolds >= turbulentReynolds:
		return Colebrook(reynolds, relativeRoughness)
	}
	laminar, turbulent := 64.0/laminarReynolds, Colebrook(turbulentReynolds, relativeRoughness)
	return laminar + (turbulent-laminar)*(reynolds-laminarReynolds)/(turbulentReynolds-laminarReynolds)
}

// Colebrook solves 1/√f = -2 lg(ε/3.7 + 2.51/(Re √f)) (Colebrook 1939) for f, ε
// being roughness by bore. Newton's method from Haaland's explicit formula,
// which is within 1.5 %, is at the last digits after three steps.
func Colebrook(reynolds, relativeRoughness float64) float64 {
	rough, smooth := relativeRoughness/3.7, 2.51/reynolds
	x := -1.8 * math.Log10(math.Pow(rough, 1.11)+6.9/reynolds) // 1/√f, Haaland 1983
	for range 3 {
		inner := rough + smooth*x
		x -= (x + 2*math.Log10(inner)) / (1 + 2/math.Ln10*smooth/inner)
	}
	return 1 / (x * x)
}

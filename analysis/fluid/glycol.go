package fluid

import (
	"fmt"
	"math"
)

// Kind is a glycol.
type Kind int

// The glycols of heating and ground loops.
const (
	PropyleneGlycol Kind = iota
	EthyleneGlycol
)

// String returns the glycol's name in words.
func (k Kind) String() string {
	switch k {
	case PropyleneGlycol:
		return "propylene glycol"
	case EthyleneGlycol:
		return "ethylene glycol"
	}
	return fmt.Sprintf("glycol kind %d", int(k))
}

// Basis is what a concentration is a share of. Refractometers and labels mostly
// say volume; 30 % ethylene glycol by volume is 32 % by mass.
type Basis int

// The bases of a concentration.
const (
	ByVolume Basis = iota
	ByMass
)

// String returns the basis in words.
func (b Basis) String() string {
	switch b {
	case ByVolume:
		return "by volume"
	case ByMass:
		return "by mass"
	}
	return fmt.Sprintf("basis %d", int(b))
}

// glycolUncertainty is what UncertaintyRatio returns.
var glycolUncertainty = map[Kind]float64{PropyleneGlycol: 0.01, EthyleneGlycol: 0.015}

// Glycol returns a mixture of glycol and water. The concentration is in percent
// of the mixture. It errs when the concentration is outside the data of its
// source (by volume 10 to 60 %; by mass 15 to 57 % propylene, up to 60 %
// ethylene glycol) or not given, that is 0.
func Glycol(kind Kind, concentrationPct float64, basis Basis) (*Fluid, error) {
	c, ok := correlations[kind][basis]
	if !ok {
		return nil, fmt.Errorf("fluid %s %s: no such mixture", kind, basis)
	}
	if concentrationPct == 0 {
		return nil, fmt.Errorf("fluid %s: the concentration in %% is missing; without glycol it is water", kind)
	}
	// Written so that NaN errs.
	if !(concentrationPct >= c.minimumPct && concentrationPct <= c.maximumPct) {
		return nil, fmt.Errorf("fluid %s %g %% %s: %s has data from %g to %g %%",
			kind, concentrationPct, basis, c.source, c.minimumPct, c.maximumPct)
	}
	freezingC := c.freezingC(concentrationPct / 100)
	f := newFluid(fmt.Sprintf("%s %g %% %s", kind, concentrationPct, basis),
		c.at(concentrationPct/100), freezingC-freezingErrorK, maximumMixtureC)
	f.freezingC = freezingC
	f.uncertaintyRatio = glycolUncertainty[kind]
	return f, nil
}

// cubic is a property of one mixture, by powers of T - baseK.
type cubic [4]float64

// mixture is a correlation at one concentration.
type mixture struct {
	baseC        float64
	density      cubic
	heatCapacity cubic
	logViscosity cubic
}

// at takes the correlation at a fraction of glycol from 0 to 1.
func (c *correlation) at(fraction float64) *mixture {
	x := fraction - c.base
	return &mixture{
		baseC:        c.baseK - celsiusToKelvinK,
		density:      c.densityKgM3.at(x),
		heatCapacity: c.heatCapacityJKgK.at(x),
		logViscosity: c.logViscosity.at(x),
	}
}

func (c *correlation) freezingC(fraction float64) float64 {
	freezing := polynomial(c.freezing[:], fraction-c.base)
	if c.freezingIsLogarithm {
		freezing = math.Exp(freezing)
	}
	return freezing - celsiusToKelvinK
}

func (s *surface) at(x float64) cubic {
	var c cubic
	for i := range s {
		c[i] = polynomial(s[i][:], x)
	}
	return c
}

func (m *mixture) densityKgM3(tempC float64) float64 {
	return polynomial(m.density[:], tempC-m.baseC)
}

// enthalpyJKg is the integral of the heat capacity from 0 °C.
func (m *mixture) enthalpyJKg(tempC float64) float64 {
	return m.heatCapacity.integral(tempC-m.baseC) - m.heatCapacity.integral(-m.baseC)
}

func (m *mixture) heatCapacityJKgK(tempC float64) float64 {
	return polynomial(m.heatCapacity[:], tempC-m.baseC)
}

func (m *mixture) viscosityPaS(tempC float64) float64 {
	return math.Exp(polynomial(m.logViscosity[:], tempC-m.baseC))
}

// integral returns the integral from 0 to x.
func (c cubic) integral(x float64) float64 {
	return x * (c[0] + x*(c[1]/2+x*(c[2]/3+x*c[3]/4)))
}

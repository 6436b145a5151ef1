package metrology

import (
	"cmp"
	"math"
	"slices"
)

// Period is what a span of time counted and what is known of its meters.
type Period struct {
	Sums             HeatSums // of the covered time
	HeatMeter        HeatMeter
	ElectricityJ     float64 // of the covered time
	ElectricityMeter ElectricityClass

	// PairErrorK is the 95 % limit of the error of flow minus return, where the
	// very pair is known better than by the meter's class, which it replaces.
	// 0: not given.
	PairErrorK float64
	// OffsetK is the 95 % limit of what is left of the pair's offset after it
	// was taken off, or the offset itself while it is seen but not taken off.
	OffsetK float64
	// FluidRatio is the 95 % limit of the liquid's heat capacity by volume, as
	// fluid.Fluid.UncertaintyRatio gives it.
	FluidRatio float64

	// HeatVarianceJSq and ElectricityVarianceJSq are sums of SamplingVarianceJSq;
	// 0 where a register counted.
	HeatVarianceJSq, ElectricityVarianceJSq float64

	// AddedHeatJ is electricity that counts as heat too because the heat meter
	// does not see it: a backup or immersion heater within the SPF boundary.
	AddedHeatJ float64

	// UncoveredShare is the share of the period's electricity that was used
	// while heat or power were not known; of time, where even that is not known.
	UncoveredShare float64
	// DaySpreadRatio is by how much single days differ; 0: not known.
	DaySpreadRatio float64
}

// The parts an uncertainty is made of.
const (
	PartFlowSensor          = "flow sensor"
	PartSensorPair          = "flow and return sensor pair"
	PartCalculator          = "calculator"
	PartOffset              = "offset of the sensor pair"
	PartFluid               = "liquid"
	PartHeatSampling        = "time between heat readings"
	PartElectricityMeter    = "electricity meter"
	PartElectricitySampling = "time between power readings"
	PartUncovered           = "time without readings"
)

// Part is one contribution to an uncertainty, in percent of the whole.
type Part struct {
	Name     string
	Pct      float64 // 95 %, k = 2
	LimitPct float64 // the limit it comes from
}

// Doubt is by how much a figure may be wrong, in percent of it.
type Doubt struct {
	Pct      float64 // 95 %: root sum of squares, k = 2
	LimitPct float64 // every part at its limit to the same side; of a meter alone the legal limit
	Parts    []Part  // the one that matters most first
}

// SPF is heat by electricity with its 95 % interval.
type SPF struct {
	Value, Low, High float64
	Doubt
	// WholePeriod is false when part of the period was not covered and it is
	// not known how much its days differ: the interval then holds for the
	// covered part only.
	WholePeriod bool
}

// Heat returns the doubt about the net heat, false when there is none: of no
// heat, or of heat drawn, there is no percentage.
func (p *Period) Heat() (Doubt, bool) {
	s, m := &p.Sums, p.HeatMeter
	if !(s.NetJ > 0) {
		return Doubt{}, false
	}
	perJ := 100 / s.NetJ
	pair := limited(PartSensorPair, perJ*m.pairLimitJ(s))
	if p.PairErrorK > 0 {
		pair = known95(PartSensorPair, perJ*p.PairErrorK*m.capacityJPerK(s))
	}
	return doubt(
		limited(PartFlowSensor, perJ*m.flowLimitJ(s)),
		pair,
		limited(PartCalculator, perJ*m.calculatorLimitJ(s)),
		known95(PartOffset, perJ*math.Abs(p.OffsetK)*m.capacityJPerK(s)),
		known95(PartFluid, 100*p.FluidRatio), // one factor on all heat, whatever its sign
		known95(PartHeatSampling, perJ*coverage*math.Sqrt(p.HeatVarianceJSq)),
	), true
}

// Electricity returns the doubt about the electricity, false when there is none.
func (p *Period) Electricity() (Doubt, bool) {
	if !(p.ElectricityJ > 0) {
		return Doubt{}, false
	}
	return doubt(
		limited(PartElectricityMeter, p.ElectricityMeter.usualLimitPct()),
		known95(PartElectricitySampling, 100/p.ElectricityJ*coverage*math.Sqrt(p.ElectricityVarianceJSq)),
	), true
}

// SPF returns heat by electricity, false without both.
//
// What happened in the uncovered part is not known. Its SPF is taken to be that
// of one more day like the covered ones, two standard deviations of DaySpreadRatio
// around them, and no better known for being longer: gaps come in one piece, in
// one weather.
//
// Heat and electricity are taken as independent, also where added heat was
// counted by the same meter; that errs to the side of caution.
func (p *Period) SPF() (SPF, bool) {
	heat, heatKnown := p.Heat()
	electricity, electricityKnown := p.Electricity()
	if !heatKnown || !electricityKnown {
		return SPF{}, false
	}
	totalJ := p.Sums.NetJ + p.AddedHeatJ
	metered := p.Sums.NetJ / totalJ
	var parts []Part
	for _, part := range heat.Parts {
		parts = append(parts, Part{part.Name, part.Pct * metered, part.LimitPct * metered})
	}
	parts = append(parts, electricity.Parts...)
	parts = append(parts, known95(PartUncovered, 100*max(p.UncoveredShare, 0)*coverage*p.DaySpreadRatio))

	result := SPF{
		Value: totalJ / p.ElectricityJ, Doubt: doubt(parts...),
		WholePeriod: p.UncoveredShare <= 0 || p.DaySpreadRatio > 0,
	}
	result.Low = max(result.Value*(1-result.Pct/100), 0)
	result.High = result.Value * (1 + result.Pct/100)
	return result, true
}

// Assumed says in words what was taken for granted of the meters.
func (p *Period) Assumed() []string {
	return append(p.HeatMeter.Assumed(), p.ElectricityMeter.Assumed()...)
}

// limited is a part of which only an error limit is known.
func limited(name string, limitPct float64) Part { return Part{name, expanded(limitPct), limitPct} }

// known95 is a part whose 95 % limit is known.
func known95(name string, pct float64) Part { return Part{name, pct, pct} }

// doubt combines parts and leaves out those that are nothing.
func doubt(parts ...Part) Doubt {
	parts = slices.DeleteFunc(parts, func(p Part) bool { return p.Pct == 0 })
	slices.SortStableFunc(parts, func(a, b Part) int { return cmp.Compare(b.Pct, a.Pct) })
	d := Doubt{Parts: parts}
	squares := 0.0
	for _, part := range parts {
		squares += part.Pct * part.Pct
		d.LimitPct += part.LimitPct
	}
	d.Pct = math.Sqrt(squares)
	return d
}

package pipework

// Leg is a length of pipe pair. Those that hang on it name it as their parent.
type Leg struct {
	Name     string
	Parent   int // index in System.Legs, or AtHeatPump; parents stand before their children
	Material string
	Size     string
	Pipe     Pipe

	// Of each of Parallel equal pairs or loops, flow and return together.
	LengthM   float64
	Zeta      float64 // sum of the resistance coefficients
	KvM3H     float64 // of all that is given by Kv, in series; 0 for nothing
	Parallel  int     // at least 1
	FloorLoop bool
	Setter    *Setter

	// What the leg itself serves at its end, not those below it.
	LoadKW      float64
	FlowLPH     float64 // carries the load at DifferenceK
	DifferenceK float64
}

// AtHeatPump is the parent of the legs that begin at the heat pump.
const AtHeatPump = -1

// Setter is a valve with a scale that sets a pair's or loop's flow. Zero is not
// given.
type Setter struct {
	KvM3H      float64 `json:"kv_m3h"` // fully open
	SetLPH     float64 `json:"set_lph,omitempty"`
	MaximumLPH float64 `json:"maximum_lph,omitempty"`
}

// Limits are what velocity and friction are remarked on against.
type Limits struct {
	VelocityMPerS float64
	LossPaPerM    float64
}

// DefaultLimits are 1 m/s and 300 Pa/m (CIBSE Guide B 1986, B1.13, as quoted
// for pipes up to 50 mm).
var DefaultLimits = Limits{VelocityMPerS: 1, LossPaPerM: 300}

// System is a heating system without separation.
type System struct {
	Site             string
	FluidName        string
	Liquid           Liquid
	FlowTempC        float64
	Legs             []Leg
	Pump             PumpCurve // nil when not known
	Setting          string    // the pump's setting that Pump belongs to
	OtherSettings    []Setting
	MinimumFlowLPH   float64 // what the maker asks for, 0 when not known
	RatedHeatKW      float64 // 0 when not known
	DesignHeatLossKW float64 // 0 when not known
	Limits           Limits
	// Missing is what the verdict needs and the record does not have.
	Missing []string
	Assumed []string
}

// Setting is a pump's curve on another of its settings.
type Setting struct {
	Name  string
	Curve PumpCurve
}

// barPa is 1 bar, at which Kv counts water of waterKgM3 (EN 60534-1).
const (
	barPa     = 1e5
	waterKgM3 = 1000
)

// kvLossPa is what a Kv takes; none given takes nothing.
func kvLossPa(kvM3H, flowLPH float64, l Liquid) float64 {
	if kvM3H == 0 {
		return 0
	}
	ratio := flowLPH / 1000 / kvM3H
	return ratio * ratio * barPa * l.DensityKgM3 / waterKgM3
}

// Loss is what a leg takes off the head at one flow.
type Loss struct {
	Stream
	FrictionPa float64
	FittingsPa float64
	SetterPa   float64 // fully open
}

// TotalPa returns the whole loss.
func (l Loss) TotalPa() float64 { return l.FrictionPa + l.FittingsPa + l.SetterPa }

// LossAt returns what the leg costs at the flow of all its pairs together.
func (leg *Leg) LossAt(flowLPH float64, l Liquid) Loss {
	pairLPH := flowLPH / float64(leg.Parallel)
	stream := leg.Pipe.Stream(pairLPH, l)
	loss := Loss{
		Stream:     stream,
		FrictionPa: stream.LossPaPerM * leg.LengthM,
		FittingsPa: leg.Zeta*velocityHeadPa(stream.VelocityMPerS, l) + kvLossPa(leg.KvM3H, pairLPH, l),
	}
	if leg.Setter != nil {
		loss.SetterPa = kvLossPa(leg.Setter.KvM3H, pairLPH, l)
	}
	return loss
}

// slopePaPerLPH is how the leg's loss changes with its flow.
func (leg *Leg) slopePaPerLPH(flowLPH float64, l Liquid) float64 {
	step := 1e-5 * flowLPH
	return (leg.LossAt(flowLPH+step, l).TotalPa() - leg.LossAt(flowLPH-step, l).TotalPa()) / (2 * step)
}

// limitLPH is the flow the leg's setters let through, ok false without a limit.
func (leg *Leg) limitLPH() (limitLPH float64, ok bool) {
	if leg.Setter == nil || leg.Setter.SetLPH == 0 {
		return 0, false
	}
	return leg.Setter.SetLPH * float64(leg.Parallel), true
}

// neededLPH returns the flow of every leg that carries what it serves and what
// hangs on it, times factor.
func (s *System) neededLPH(factor float64) []float64 {
	flows := make([]float64, len(s.Legs))
	for i := len(s.Legs) - 1; i >= 0; i-- {
		flows[i] += factor * s.Legs[i].FlowLPH
		if parent := s.Legs[i].Parent; parent != AtHeatPump {
			flows[parent] += flows[i]
		}
	}
	return flows
}

// totalOf sums what leaves the heat pump, of values by leg.
func (s *System) totalOf(flowsLPH []float64) float64 {
	totalLPH := 0.0
	for i := range s.Legs {
		if s.Legs[i].Parent == AtHeatPump {
			totalLPH += flowsLPH[i]
		}
	}
	return totalLPH
}

// loadsKW returns the load of every leg with what hangs on it.
func (s *System) loadsKW() []float64 {
	loads := make([]float64, len(s.Legs))
	for i := len(s.Legs) - 1; i >= 0; i-- {
		loads[i] += s.Legs[i].LoadKW
		if parent := s.Legs[i].Parent; parent != AtHeatPump {
			loads[parent] += loads[i]
		}
	}
	return loads
}

// ends says of every leg whether nothing hangs on it.
func (s *System) ends() []bool {
	ends := make([]bool, len(s.Legs))
	for i := range s.Legs {
		ends[i] = true
		if parent := s.Legs[i].Parent; parent != AtHeatPump {
			ends[parent] = false
		}
	}
	return ends
}

package rig

import (
	"math"

	"coldweek/ingest/rig/weather"
)

// phase is what the compressor is doing.
type phase int

const (
	idle phase = iota
	running
	defrosting
)

// frostLimitC is the outdoor temperature above which no frost forms.
const frostLimitC = 7

// Of a defrost's course: the valve switches while the compressor idles, then
// the frost melts, then the coil drips off.
const (
	dipS  = 25.0
	dripS = 35.0
)

// machine is the refrigerant side.
type machine struct {
	spec    HeatPump
	defrost Defrost

	phase          phase
	sinceS         float64 // in this phase
	share          float64 // commanded, of the greatest output
	ramp           float64 // of the heat output, 0 to 1 after a start
	powerRampShare float64
	outputW        float64 // commanded
	load           float64 // outputW as a share of the greatest
	powerRefW      float64 // mean running power, what a defrost's share refers to
	frostKg        float64
	perThreshold   float64 // 1/thresholdKg
	frostKgPS      float64
	needJ          float64 // still to be spent on this defrost
	meltS          float64 // length of the melting so far
	dripping       float64
	sinceThawS     float64 // running time since the last defrost
}

// newMachine is at rest, its coil dry.
func newMachine(p *Plant) machine {
	m := machine{spec: p.HeatPump, defrost: p.Defrost, powerRefW: p.HeatPump.RatedHeatKW * 1e3 / 6, sinceS: 3600}
	m.perThreshold = 1 / m.thresholdKg()
	return m
}

// capacityW is the greatest output.
func (m *machine) capacityW(outdoorC, flowC float64, e *effects) float64 {
	share := 1 - m.spec.CapacityPerK*(frostLimitC-outdoorC)
	share = min(1.05, max(0.3, share)) * (1 - 0.003*(flowC-35))
	return m.spec.RatedHeatKW * 1e3 * share * (1 - 0.15*m.frosted()) * e.capacity
}

// minimumW is the lowest output it can hold: it rises in mild weather.
func (m *machine) minimumW(outdoorC float64, e *effects) float64 {
	factor := min(1.3, max(0.6, 1+0.015*(outdoorC-7)))
	return m.spec.MinimumHeatKW * 1e3 * factor * e.minimumOutput
}

// frosted is how far the coil is blocked, 1 at the usual threshold.
func (m *machine) frosted() float64 {
	return min(1.5, m.frostKg*m.perThreshold)
}

func (m *machine) thresholdKg() float64 { return m.defrost.ThresholdKgPerKW * m.spec.RatedHeatKW }

// approachK is how much colder than the air the evaporator works.
func (m *machine) approachK(load float64) float64 { return 3 + 5*load + 3*m.frosted() }

// cop is a share of Carnot between the refrigerant's own temperatures, so
// part load gains what smaller approaches give, and a compressor near its
// lowest speed loses some of it again.
func (m *machine) cop(outdoorC, flowC, load float64, e *effects) float64 {
	condensingK := flowC + 1 + 2.5*load + 273.15
	evaporatingK := outdoorC - m.approachK(load) + 273.15
	partLoad := 1 - 0.12*max(0, 0.35-load)/0.35
	return m.spec.CarnotShare * condensingK / max(15, condensingK-evaporatingK) * partLoad * e.cop
}

// step runs the machine and returns the heat given to the water (negative:
// drawn) and the electricity of compressor and fan.
func (m *machine) step(stepS, outdoorC, flowC float64, e *effects) (heatW, powerW float64) {
	m.sinceS += stepS
	switch m.phase {
	case running:
		return m.run(stepS, outdoorC, flowC, e)
	case defrosting:
		return m.thaw(stepS, outdoorC, flowC, e)
	}
	if m.frostKg > 0 && outdoorC > 1 {
		m.frostKg *= 1 - stepS/2400 // a standing coil thaws by itself in above-zero air
	}
	return 0, 0
}

// settle turns the commanded share into an output; shares and conditions
// change little between two looks of the controller.
func (m *machine) settle(outdoorC, flowC float64, e *effects) {
	greatestW := m.capacityW(outdoorC, flowC, e)
	m.outputW = min(greatestW, max(m.share*greatestW, m.minimumW(outdoorC, e)))
	m.load = m.outputW / greatestW
}

func (m *machine) run(stepS, outdoorC, flowC float64, e *effects) (heatW, powerW float64) {
	m.ramp += (1 - m.ramp) * stepS / m.spec.RampS
	m.powerRampShare += (1 - m.powerRampShare) * stepS / 25
	powerW = m.outputW / m.cop(outdoorC, flowC, m.load, e)
	m.powerRefW += (powerW - m.powerRefW) * stepS / 300
	m.frostKg += m.frostKgPS * stepS
	m.sinceThawS += stepS
	return m.outputW * m.ramp, powerW * m.powerRampShare
}

// start sets the compressor going at a middling speed.
func (m *machine) start(share float64) {
	m.phase, m.sinceS, m.share = running, 0, share
	m.ramp, m.powerRampShare = 0, 0.2
}

func (m *machine) stop() { m.phase, m.sinceS, m.load = idle, 0, 0 }

// refreshFrost sets how fast frost grows: the air's moisture above what the
// coil's surface can hold, carried by the fan's air.
func (m *machine) refreshFrost(outdoorC, humidityPct float64) {
	m.frostKgPS = 0
	surfaceC := outdoorC - 0.85*m.approachK(m.load)
	if outdoorC > frostLimitC || surfaceC >= 0 {
		return
	}
	excessPa := weather.VapourPa(outdoorC, humidityPct) - weather.WaterVapourPa(surfaceC)
	airKgPerS := airKgPerSKW * m.spec.RatedHeatKW * (0.4 + 0.6*m.load)
	m.frostKgPS = max(0, 0.622*excessPa/101325*airKgPerS*moistureCaught)
}

// Fan air per kW rated (about 3,000 m³/h for 8 kW) and the share of its
// surplus moisture that settles.
const (
	airKgPerSKW    = 0.12
	moistureCaught = 0.42
)

// Melting: latent heat of ice; the coil's own heat per kW rated; the share of
// the spent heat that reaches frost and coil.
const (
	iceJPerKg      = 334e3
	coilJPerKPerKW = 3.5e3
	meltingShare   = 0.6
)

// hotGasWPerKW is the least a hot gas defrost takes, per kW rated: its
// compressor speeds up when it ran slowly before.
const hotGasWPerKW = 110

// beginDefrost turns the machine round.
func (m *machine) beginDefrost(outdoorC float64) {
	meltJ := m.frostKg * (iceJPerKg + 20e3) / meltingShare
	coilJ := coilJPerKPerKW * m.spec.RatedHeatKW * max(8, 14-outdoorC)
	m.needJ = meltJ + coilJ
	if m.defrost.Style == HotGas {
		// Only compressor heat melts, and all of it on the coil: such machines
		// defrost thinner frost and keep the refrigerant's side warm.
		m.needJ = meltJ*0.42 + coilJ*0.16
	}
	m.phase, m.sinceS, m.meltS, m.dripping = defrosting, 0, 0, 0
}

// thaw is one step of a defrost.
func (m *machine) thaw(stepS, outdoorC, flowC float64, e *effects) (heatW, powerW float64) {
	if m.dripping > 0 {
		m.dripping += stepS
		if m.dripping > dripS {
			m.endDefrost(e)
			m.settle(outdoorC, flowC, e)
		}
		return 0, 0.25 * m.powerRefW
	}
	if m.sinceS < dipS {
		return 0, 0.12 * m.powerRefW
	}
	m.meltS += stepS
	up := min(1, m.meltS/20)
	powerW = up * m.defrost.PowerShare * m.powerRefW
	drawnW := 0.0
	switch m.defrost.Style {
	case HotGas:
		powerW = up * max(m.defrost.PowerShare*m.powerRefW, hotGasWPerKW*m.spec.RatedHeatKW)
	case ReverseCycle:
		drawnW = up * m.defrost.HeatShare * m.spec.RatedHeatKW * 1e3
	}
	m.needJ -= stepS * (drawnW + 0.85*powerW)
	if m.thawed(flowC, e) {
		m.dripping = stepS
	}
	return -drawnW, powerW
}

func (m *machine) thawed(flowC float64, e *effects) bool {
	if flowC < m.defrost.MinimumFlowTempC {
		return true
	}
	if e.defrostLengthS > 0 {
		return m.sinceS+dripS >= e.defrostLengthS
	}
	return m.meltS >= 90 && (m.needJ <= 0 || m.sinceS+dripS >= m.defrost.MaximumLength.Seconds())
}

// endDefrost turns the machine back; what was not melted stays.
func (m *machine) endDefrost(e *effects) {
	left := max(0, m.needJ) * meltingShare / (iceJPerKg + 20e3)
	m.frostKg = min(m.frostKg, left) + e.frostLeft*m.frostKg
	m.start(math.Max(m.share, 0.7))
	m.ramp, m.sinceThawS = 0.1, 0
}

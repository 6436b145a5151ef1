package rig

import "math"

// loop is the water circuit: hx (condenser and flow pipe up to the flow
// sensor), two cells for the emitters with their pipes or the coil, and ret
// (the return up to the return sensor, which both circuits share). Each is one
// mixed volume.
type loop struct {
	hxC, retC, e1C, e2C, slabC, coilC       float64
	hxJPerK, retJPerK, cellJPerK, coilJPerK float64
	slabJPerK, slabWPerK                    float64
	outputWPerKN, exponent                  float64 // emitted = outputWPerKN * excess^exponent
	conductanceWPerK                        float64 // of the emitters at their present excess
	coilWPerK                               float64
	hxLossWPerK                             float64 // machine and outdoor pipes to the outdoors
	pipeLossWPerK                           float64 // return pipe to the house
	flowLPH                                 float64
	meterHot                                bool // flow sensor in the flow pipe
}

// Fixed small parts of the loop.
const (
	hxShare       = 0.15 // of the loop's water sits before the flow sensor
	retShare      = 0.15 // and in the return that both circuits share
	minimumNodeL  = 5    // keeps the explicit step stable at 2 s and 3,000 l/h
	coilL         = 8
	hxLossWPerK   = 2.5
	pipeLossWPerK = 1.0
	coilIdleShare = 0.3 // of the coil's conductance left without flow
)

func newLoop(p *Plant) loop {
	l := loop{
		retJPerK: max(minimumNodeL, retShare*p.Loop.VolumeL) * waterJPerKgK,
		hxJPerK:  max(minimumNodeL, hxShare*p.Loop.VolumeL) * waterJPerKgK,
		cellJPerK: max(minimumNodeL*waterJPerKgK,
			((p.Emitters.WaterL+(1-hxShare-retShare)*p.Loop.VolumeL)*waterJPerKgK+p.Emitters.MetalKJPerK*1e3)/2),
		coilJPerK:     coilL * waterJPerKgK,
		slabJPerK:     p.Emitters.SlabMJPerK * 1e6,
		outputWPerKN:  p.Emitters.OutputAt50KW * 1e3 / math.Pow(50, p.Emitters.Exponent),
		exponent:      p.Emitters.Exponent,
		coilWPerK:     p.HotWater.CoilWPerK,
		hxLossWPerK:   hxLossWPerK,
		pipeLossWPerK: pipeLossWPerK,
		meterHot:      p.Metering.FlowSensorHot,
	}
	// The screed follows its water within half an hour, or as fast as the step
	// stays stable.
	l.slabWPerK = min(l.slabJPerK/1800, l.cellJPerK/20)
	waterC := p.House.RoomSetC + 5
	l.hxC, l.retC, l.e1C, l.e2C, l.slabC = waterC, waterC, waterC, waterC, waterC
	l.coilC = p.HotWater.TargetC
	return l
}

// resize changes the water and metal the loop holds.
func (l *loop) resize(factor float64) {
	l.retJPerK = max(minimumNodeL*waterJPerKgK, l.retJPerK*factor)
	l.cellJPerK = max(minimumNodeL*waterJPerKgK, l.cellJPerK*factor)
	l.slabJPerK *= factor
	l.slabWPerK *= factor
}

// linearise refreshes the emitters' conductance, which changes slowly.
func (l *loop) linearise(roomC float64) {
	excessK := max(0.5, l.e1C-roomC)
	l.conductanceWPerK = l.outputWPerKN * math.Pow(excessK, l.exponent-1)
}

// flows are the heat flows of one step.
type flows struct {
	sensorW  float64 // through flow and return sensor
	emittedW float64 // into the house
	coilW    float64 // into the cylinder
	hxLossW  float64
}

// step carries heat round for stepS. heatW enters at the machine, afterW (a
// heater behind the sensors) after the flow sensor.
func (l *loop) step(stepS, heatW, afterW, outdoorC, roomC, cylinderC float64, hotWater bool) flows {
	meterC := l.retC
	if l.meterHot {
		meterC = l.hxC
	}
	massKgPerS := l.flowLPH / 3.6e6 * densityKgPerM3(meterC)
	hxJPerKg, retJPerKg := enthalpyJPerKg(l.hxC), enthalpyJPerKg(l.retC)
	var f flows
	f.sensorW = massKgPerS * (hxJPerKg - retJPerKg)
	f.hxLossW = l.hxLossWPerK * (l.hxC - outdoorC)
	pipeLossW := l.pipeLossWPerK * (l.retC - roomC)
	endJPerKg := 0.0
	if hotWater {
		f.emittedW = l.emitStanding(stepS, roomC)
		endJPerKg = l.passCoil(stepS, massKgPerS, hxJPerKg, afterW, cylinderC, &f)
	} else {
		endJPerKg = l.passEmitters(stepS, massKgPerS, hxJPerKg, afterW, roomC, &f)
		f.coilW = l.coilWPerK * coilIdleShare * (l.coilC - cylinderC)
		l.coilC -= stepS * f.coilW / l.coilJPerK
	}
	l.hxC += stepS * (heatW - f.sensorW - f.hxLossW) / l.hxJPerK
	l.retC += stepS * (massKgPerS*(endJPerKg-retJPerKg) - pipeLossW) / l.retJPerK
	f.emittedW += pipeLossW
	return f
}

// passEmitters moves the heating circuit. With half the emission in each of
// two cells, the first cell is the arithmetic mean of flow and return, the
// temperature the emitters' exponent law is meant for.
func (l *loop) passEmitters(stepS, massKgPerS, inJPerKg, afterW, roomC float64, f *flows) float64 {
	if massKgPerS < 1e-3 {
		f.emittedW = l.emitStanding(stepS, roomC)
		l.e1C += stepS * afterW / l.cellJPerK
		return enthalpyJPerKg(l.retC)
	}
	f.emittedW = l.conductanceWPerK * (l.e1C - roomC)
	slabW := l.soakSlab(stepS)
	e1JPerKg, e2JPerKg := enthalpyJPerKg(l.e1C), enthalpyJPerKg(l.e2C)
	l.e1C += stepS * (massKgPerS*(inJPerKg-e1JPerKg) + afterW - (f.emittedW+slabW)/2) / l.cellJPerK
	l.e2C += stepS * (massKgPerS*(e1JPerKg-e2JPerKg) - (f.emittedW+slabW)/2) / l.cellJPerK
	return e2JPerKg
}

// emitStanding lets each emitter cell cool by its own excess temperature.
func (l *loop) emitStanding(stepS, roomC float64) float64 {
	firstW := l.conductanceWPerK / 2 * (l.e1C - roomC)
	secondW := l.conductanceWPerK / 2 * (l.e2C - roomC)
	slabW := l.soakSlab(stepS)
	l.e1C -= stepS * (firstW + slabW/2) / l.cellJPerK
	l.e2C -= stepS * (secondW + slabW/2) / l.cellJPerK
	return firstW + secondW
}

// soakSlab moves heat from the water into the screed, or back.
func (l *loop) soakSlab(stepS float64) float64 {
	if l.slabJPerK == 0 {
		return 0
	}
	slabW := l.slabWPerK * (l.e1C - l.slabC)
	l.slabC += stepS * slabW / l.slabJPerK
	return slabW
}

// passCoil moves the hot water circuit.
func (l *loop) passCoil(stepS, massKgPerS, inJPerKg, afterW, cylinderC float64, f *flows) float64 {
	coilJPerKg := enthalpyJPerKg(l.coilC)
	f.coilW = l.coilWPerK * (l.coilC - cylinderC)
	l.coilC += stepS * (massKgPerS*(inJPerKg-coilJPerKg) + afterW - f.coilW) / l.coilJPerK
	return coilJPerKg
}

// storedJ is the heat of the water on the house's side of the sensors, above
// 0 °C.
func (l *loop) storedJ() float64 {
	return l.retJPerK*l.retC + l.cellJPerK*(l.e1C+l.e2C) + l.slabJPerK*l.slabC + l.coilJPerK*l.coilC
}

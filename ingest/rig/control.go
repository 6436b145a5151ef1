package rig

import "time"

// controlEvery is how often the plant's controller looks.
const controlEvery = 10 * time.Second

// controller is what the plant's controller remembers.
type controller struct {
	heating, hotWater bool // demand
	season, cutOut    bool
	hygiene           bool  // a weekly run is under way
	toCylinder        bool  // the diverter valve's position
	holdUntilMS       int64 // the valve stays at the cylinder
	overrunUntilMS    int64
	pumpSinceMS       int64 // the pump has been running since; 0 when it stands
	hotWaterSinceMS   int64
	hotWaterBlockedMS int64
	hygieneDoneMS     int64
	dampedC           float64 // outdoor, for the curve
	dayMeanC          float64 // outdoor, for the season
	curveC            float64 // flow target of the heating curve
	targetC           float64 // flow target now
	integral          float64 // of the flow controller, a share of output
	saturatedS        float64 // time at full output below target
	backup            bool
	frostPump         bool
	immersion         bool
	lastMS            int64
}

// control is one look of the controller.
func (r *Rig) control() {
	c := &r.ctl
	r.cylinderSeenC += (r.cylinder.waterC - r.cylinderSeenC) * 0.2
	r.setHeatingDemand()
	r.setHotWaterDemand()
	r.setTarget()
	switch r.machine.phase {
	case idle:
		if r.mayStart() {
			r.startMachine()
		}
	case running:
		r.modulate()
		switch {
		case r.mustStop():
			r.stopMachine()
		case r.mustDefrost():
			r.machine.beginDefrost(r.outdoorC)
		}
	}
	r.setValve()
	r.setBackup()
	r.setPump()
	c.lastMS = r.nowMS
}

// setHeatingDemand follows season, thermostat and a room grown too warm.
func (r *Rig) setHeatingDemand() {
	c, p := &r.ctl, &r.plant.Control
	c.season = c.dayMeanC < p.HeatingLimitC+0.5 && (c.season || c.dayMeanC < p.HeatingLimitC-0.5)
	if p.RoomCutOutK > 0 {
		overK := r.house.airC - r.plant.House.RoomSetC
		c.cutOut = overK > p.RoomCutOutK || c.cutOut && overK > p.RoomCutOutK-0.6
	}
	was := c.heating
	c.heating = c.season && !c.cutOut && !r.eff.dead && r.chopped()
	if was && !c.heating {
		c.overrunUntilMS = r.nowMS + p.Overrun.Milliseconds()
	}
}

// chopped is the call of a thermostat that times its pulses by how far the
// room is off.
func (r *Rig) chopped() bool {
	periodS := r.eff.chopPeriodS
	if periodS == 0 {
		return true
	}
	duty := min(0.7, max(0.3, 0.5+0.4*(r.plant.House.RoomSetC-r.house.airC)))
	intoS := float64((r.nowMS-r.startMS)/1000) - periodS*float64((r.nowMS-r.startMS)/int64(periodS*1000))
	return intoS < duty*periodS
}

// setTarget follows the heating curve, or climbs with the cylinder.
func (r *Rig) setTarget() {
	c, p, h := &r.ctl, &r.plant.Control, &r.plant.House
	targetC := curveAt(p.Curve, c.dampedC) + r.eff.curveShiftK
	targetC += p.RoomCorrectionKPerK * min(2, max(-2, h.RoomSetC-r.house.airC))
	if r.eff.constantFlowC > 0 {
		targetC = r.eff.constantFlowC
	}
	c.curveC = min(p.MaximumFlowC, max(p.MinimumFlowC, targetC))
	c.targetC = c.curveC
	if c.toCylinder {
		c.targetC = min(r.plant.HeatPump.MaximumFlowC, r.cylinder.waterC+10)
	}
}

// curveAt reads the heating curve, its end pieces drawn on straight.
func curveAt(curve []CurvePoint, outdoorC float64) float64 {
	i := 1
	for i < len(curve)-1 && outdoorC > curve[i].OutdoorC {
		i++
	}
	a, b := curve[i-1], curve[i]
	return a.FlowC + (outdoorC-a.OutdoorC)*(b.FlowC-a.FlowC)/(b.OutdoorC-a.OutdoorC)
}

func (r *Rig) startBelowK() float64 {
	if r.eff.hysteresisK > 0 {
		return r.eff.hysteresisK
	}
	return r.plant.Control.StartBelowK
}

func (r *Rig) stopAboveK() float64 {
	if r.eff.hysteresisK > 0 {
		return r.eff.hysteresisK
	}
	return r.plant.Control.StopAboveK
}

// circulateFirst is how long water must pass the sensor before it tells
// anything about the circuit.
const circulateFirst = 2 * time.Minute

func (r *Rig) mayStart() bool {
	c := &r.ctl
	if r.eff.dead || r.machine.sinceS < r.plant.Control.MinimumPause.Seconds() || c.pumpSinceMS == 0 {
		return false
	}
	if c.toCylinder {
		return c.hotWater && r.cylinderBelow(r.machineLimitC())
	}
	circulating := r.nowMS-c.pumpSinceMS >= circulateFirst.Milliseconds()
	return c.heating && circulating && r.loop.hxC < c.curveC-r.startBelowK()
}

// startShare is where the compressor starts, before it modulates.
const startShare = 0.5

func (r *Rig) startMachine() {
	share := startShare
	if r.eff.onOff {
		share = 1
	}
	r.machine.start(share)
	r.ctl.integral, r.ctl.saturatedS = share, 0
}

func (r *Rig) stopMachine() {
	r.machine.stop()
	r.ctl.saturatedS = 0
	if r.ctl.toCylinder {
		r.ctl.holdUntilMS = r.nowMS + cylinderOverrun.Milliseconds()
	}
}

// cylinderOverrun moves the machine's last heat into the cylinder.
const cylinderOverrun = 90 * time.Second

// Flow control: proportional share per K, and integral time.
const (
	gainPerK       = 0.045
	integralS      = 280.0
	startHold      = 3 * time.Minute
	slewPerControl = 0.05
)

// modulate sets the compressor's share of output.
func (r *Rig) modulate() {
	c, m := &r.ctl, &r.machine
	lowest := r.lowestShare()
	want := 1.0
	switch {
	case r.eff.onOff:
	case c.toCylinder:
		want = r.hotWaterShare(lowest)
	case m.sinceS < startHold.Seconds() && r.loop.hxC < c.targetC+r.stopAboveK()/2:
		want = max(lowest, m.share)
		c.integral = want
	default:
		errK := c.targetC - r.loop.hxC
		c.integral = min(1, max(lowest, c.integral+gainPerK*errK*controlEvery.Seconds()/integralS))
		want = min(1, max(lowest, c.integral+gainPerK*errK))
	}
	m.share += min(slewPerControl, max(-slewPerControl, want-m.share))
	if m.share > 0.97 && r.loop.hxC < c.targetC-1 && !c.toCylinder {
		c.saturatedS += controlEvery.Seconds()
	} else {
		c.saturatedS = 0
	}
}

func (r *Rig) lowestShare() float64 {
	greatestW := r.machine.capacityW(r.outdoorC, r.loop.hxC, &r.eff)
	return min(1, r.machine.minimumW(r.outdoorC, &r.eff)/greatestW)
}

// hotWaterShare gives way when the flow reaches the machine's limit.
func (r *Rig) hotWaterShare(lowest float64) float64 {
	share := r.machine.share
	if r.loop.hxC > r.plant.HeatPump.MaximumFlowC-1 {
		return max(lowest, share-0.03)
	}
	return max(lowest, min(r.plant.HotWater.OutputShare, share+0.02))
}

// minimumRun keeps the compressor's oil where it belongs.
const minimumRun = 2 * time.Minute

func (r *Rig) mustStop() bool {
	c, m := &r.ctl, &r.machine
	lowest := m.share <= r.lowestShare()+0.01 || r.eff.onOff
	switch {
	case r.eff.dead, r.loop.hxC > r.plant.HeatPump.MaximumFlowC+3:
		return true
	case m.sinceS < minimumRun.Seconds():
		return false
	case c.toCylinder:
		return !c.hotWater || !r.cylinderBelow(r.machineLimitC()) ||
			lowest && r.loop.hxC > r.plant.HeatPump.MaximumFlowC+0.5
	default:
		return !c.heating && !c.hotWater || lowest && r.loop.hxC > c.curveC+r.stopAboveK()
	}
}

// mustDefrost by the frost on the coil, or by the clock.
func (r *Rig) mustDefrost() bool {
	m, d := &r.machine, &r.plant.Defrost
	every := d.Every
	if r.eff.defrostEvery > 0 {
		every = r.eff.defrostEvery
	}
	switch {
	case r.outdoorC >= r.eff.defrostBelowC, m.sinceS < 300, r.loop.hxC < d.MinimumFlowTempC+6:
		return false
	case every > 0:
		return m.sinceThawS >= every.Seconds()
	default:
		return m.sinceThawS >= d.MinimumInterval.Seconds() && m.frostKg >= m.thresholdKg()
	}
}

// setValve turns the diverter to the cylinder for hot water, and back when its
// overrun is done.
func (r *Rig) setValve() {
	c := &r.ctl
	switch {
	case c.hotWater && !c.toCylinder:
		c.toCylinder = true
	case c.toCylinder && !c.hotWater && r.nowMS >= c.holdUntilMS && r.machine.phase == idle:
		c.toCylinder = false
		c.pumpSinceMS = r.nowMS
	}
}

// Backup: how long full output must have fallen short before it helps.
const backupPatience = 15 * time.Minute

func (r *Rig) setBackup() {
	c, b := &r.ctl, &r.plant.Backup
	if !c.heating || c.toCylinder {
		c.backup = false
		return
	}
	if r.outdoorC < r.eff.backupBelowC {
		c.backup = true
		return
	}
	short := c.saturatedS >= backupPatience.Seconds()
	wanted := r.outdoorC < b.BelowOutdoorC && short || c.saturatedS >= 3*backupPatience.Seconds()
	c.backup = b.PowerKW > 0 && (wanted || c.backup && c.saturatedS > 0)
}

// backupW is what the heater takes: a third of its power per stage, more
// stages the longer the machine falls short.
func (r *Rig) backupW() float64 {
	c, b := &r.ctl, &r.plant.Backup
	if !c.backup || r.loop.flowLPH < 100 {
		return 0
	}
	if r.outdoorC < r.eff.backupBelowC {
		return max(b.PowerKW, 3) * 1e3 / 3
	}
	stage := min(3, 1+float64(int(c.saturatedS/(2*backupPatience.Seconds()))))
	return b.PowerKW * 1e3 * stage / 3
}

// frostPumpOnC and frostPumpOffC are the water temperatures between which the
// pump keeps pipes outside from freezing.
const (
	frostPumpOnC  = 6
	frostPumpOffC = 14
)

func (r *Rig) setPump() {
	c, l := &r.ctl, &r.plant.Loop
	coldestC := min(r.loop.hxC, r.loop.retC)
	c.frostPump = coldestC < frostPumpOnC || c.frostPump && coldestC < frostPumpOffC
	r.pumpLPH = 0
	switch {
	case r.eff.dead:
	case c.toCylinder:
		r.pumpLPH = l.HotWaterFlowLPH
	case c.heating, c.frostPump, r.eff.pumpAlways, r.nowMS < c.overrunUntilMS, r.machine.phase != idle:
		r.pumpLPH = l.FlowLPH * (1 - l.ModulatingShare*(1-r.pumpShare()))
	}
	r.pumpLPH *= r.eff.flowShare
	switch {
	case r.pumpLPH == 0:
		c.pumpSinceMS = 0
	case c.pumpSinceMS == 0:
		c.pumpSinceMS = r.nowMS
	}
}

// pumpShare is the output a modulating pump follows; full while defrosting.
func (r *Rig) pumpShare() float64 {
	switch r.machine.phase {
	case running:
		return r.machine.share
	case defrosting:
		return 1
	}
	return 0
}

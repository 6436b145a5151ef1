package rig

import "time"

const (
	jPerKWh  = 3.6e6
	msPerDay = 86_400_000
)

// state is what a step's heat and electricity are booked to.
type state int

const (
	stateOff state = iota
	stateSpace
	stateHotWater
	stateDefrost
)

// sums are additive over time.
type sums struct {
	seconds, runS                                  float64
	spaceJ, hotWaterJ, drawnJ, circulatingJ        float64
	elSpaceJ, elHotWaterJ, elDefrostJ, elStandbyJ  float64
	elBackupJ, elUnmeteredJ                        float64
	emittedJ, coilJ, afterJ, gainsJ, lossJ, drawsJ float64
	outdoorKS, roomKS                              float64
	starts, defrosts                               int
}

func (s *sums) add(o *sums) {
	s.seconds += o.seconds
	s.runS += o.runS
	s.spaceJ += o.spaceJ
	s.hotWaterJ += o.hotWaterJ
	s.drawnJ += o.drawnJ
	s.circulatingJ += o.circulatingJ
	s.elSpaceJ += o.elSpaceJ
	s.elHotWaterJ += o.elHotWaterJ
	s.elDefrostJ += o.elDefrostJ
	s.elStandbyJ += o.elStandbyJ
	s.elBackupJ += o.elBackupJ
	s.elUnmeteredJ += o.elUnmeteredJ
	s.emittedJ += o.emittedJ
	s.coilJ += o.coilJ
	s.afterJ += o.afterJ
	s.gainsJ += o.gainsJ
	s.lossJ += o.lossJ
	s.drawsJ += o.drawsJ
	s.outdoorKS += o.outdoorKS
	s.roomKS += o.roomKS
	s.starts += o.starts
	s.defrosts += o.defrosts
}

func (s *sums) heat() Heat {
	return Heat{
		SpaceKWh: s.spaceJ / jPerKWh, HotWaterKWh: s.hotWaterJ / jPerKWh, DefrostDrawnKWh: s.drawnJ / jPerKWh,
		NetKWh: (s.spaceJ + s.hotWaterJ - s.drawnJ) / jPerKWh, CirculatingKWh: s.circulatingJ / jPerKWh,
	}
}

func (s *sums) electricity() Electricity {
	return Electricity{
		TotalKWh: (s.elSpaceJ + s.elHotWaterJ + s.elDefrostJ + s.elStandbyJ + s.elBackupJ) / jPerKWh,
		SpaceKWh: s.elSpaceJ / jPerKWh, HotWaterKWh: s.elHotWaterJ / jPerKWh, DefrostKWh: s.elDefrostJ / jPerKWh,
		StandbyKWh: s.elStandbyJ / jPerKWh, BackupKWh: s.elBackupJ / jPerKWh, UnmeteredKWh: s.elUnmeteredJ / jPerKWh,
	}
}

func (s *sums) truth(date string) Day {
	return Day{Date: date, Hours: s.seconds / 3600, Heat: s.heat(), Electricity: s.electricity(),
		OutdoorC: s.outdoorKS / s.seconds, RoomC: s.roomKS / s.seconds, Starts: s.starts, Defrosts: s.defrosts}
}

// ledger books every step.
type ledger struct {
	total, day sums // total without the day
	days       []Day
	runs       []Run
	defrosts   []DefrostRun
	hotWater   []HotWaterRun

	inRun, inDefrost, inHotWater bool
	run                          Run
	defrost                      DefrostRun
	hot                          HotWaterRun
	before                       phase
	tailS                        float64 // since the valve turned back
}

// entry is one step to book.
type entry struct {
	fromMS               int64
	stepS                float64
	phase                phase
	toCylinder           bool
	style                DefrostStyle
	sensorW, afterW      float64
	electricW            float64 // metered, without backup
	backupW              float64 // metered backup and immersion
	unmeteredW           float64
	flowC, outdoorC      float64
	frostKg              float64
	roomC, gainsW, lossW float64
	emittedW, coilW      float64
	drawW                float64
	heaterInFlow         bool
}

// tailLimitS bounds how long cold water after a defrost counts to it.
const tailLimitS = 240

// book adds one step to the day and its episodes.
func (l *ledger) book(e *entry, at func(int64) time.Time) {
	d := &l.day
	st := l.classify(e)
	d.seconds += e.stepS
	heatJ, electricJ := e.sensorW*e.stepS, e.electricW*e.stepS
	switch st {
	case stateOff:
		d.circulatingJ += heatJ
		d.elStandbyJ += electricJ
	case stateSpace:
		d.spaceJ += heatJ
		d.elSpaceJ += electricJ
	case stateHotWater:
		d.hotWaterJ += heatJ
		d.elHotWaterJ += electricJ
	case stateDefrost:
		l.bookDefrost(d, e, heatJ, electricJ)
	}
	d.elBackupJ += e.backupW * e.stepS
	d.elUnmeteredJ += e.unmeteredW * e.stepS
	d.emittedJ += e.emittedW * e.stepS
	d.coilJ += e.coilW * e.stepS
	d.afterJ += e.afterW * e.stepS
	d.gainsJ += e.gainsW * e.stepS
	d.lossJ += e.lossW * e.stepS
	d.drawsJ += e.drawW * e.stepS
	d.outdoorKS += e.outdoorC * e.stepS
	d.roomKS += e.roomC * e.stepS
	l.followRun(e, at)
	l.followDefrost(st, e, heatJ, electricJ, at)
	l.followHotWater(st, e, heatJ, electricJ, at)
	l.before = e.phase
}

// classify says what a step was. The water that a defrost cooled passes the
// sensors for a while after the valve turned back; it still belongs to it.
func (l *ledger) classify(e *entry) state {
	switch {
	case e.phase == defrosting:
		l.tailS = 0
		return stateDefrost
	case e.phase == idle && !e.heaterInFlow:
		return stateOff
	}
	if l.inDefrost {
		l.tailS += e.stepS
		if e.phase == running && e.sensorW < 0 && l.tailS < tailLimitS {
			return stateDefrost
		}
	}
	if e.toCylinder {
		return stateHotWater
	}
	return stateSpace
}

// bookDefrost counts what is drawn, and to its circuit what still is given.
func (l *ledger) bookDefrost(d *sums, e *entry, heatJ, electricJ float64) {
	d.elDefrostJ += electricJ
	switch {
	case heatJ < 0:
		d.drawnJ -= heatJ
	case e.toCylinder:
		d.hotWaterJ += heatJ
	default:
		d.spaceJ += heatJ
	}
}

func (l *ledger) followRun(e *entry, at func(int64) time.Time) {
	on := e.phase != idle
	if on {
		l.day.runS += e.stepS
	}
	kind := HeatingRun
	if e.toCylinder {
		kind = HotWaterOnlyRun
	}
	switch {
	case on && !l.inRun:
		l.inRun = true
		l.run = Run{From: at(e.fromMS), Kind: kind}
		l.day.starts++
	case !on && l.inRun:
		l.inRun = false
		l.run.To = at(e.fromMS)
		l.runs = append(l.runs, l.run)
	case on && l.run.Kind != kind:
		l.run.Kind = MixedRun
	}
}

func (l *ledger) followDefrost(st state, e *entry, heatJ, electricJ float64, at func(int64) time.Time) {
	begins := e.phase == defrosting && l.before != defrosting
	if l.before == defrosting && e.phase != defrosting {
		l.defrost.LeftKg = e.frostKg
	}
	if l.inDefrost && (st != stateDefrost || begins) {
		l.inDefrost = false
		l.defrost.To = at(e.fromMS)
		l.defrosts = append(l.defrosts, l.defrost)
	}
	if begins {
		l.inDefrost = true
		l.defrost = DefrostRun{From: at(e.fromMS), Style: e.style, OutdoorC: e.outdoorC, HotWater: e.toCylinder, FrostKg: e.frostKg}
		l.day.defrosts++
	}
	if l.inDefrost {
		l.defrost.DrawnKWh += max(0, -heatJ) / jPerKWh
		l.defrost.ElectricityKWh += electricJ / jPerKWh
	}
}

func (l *ledger) followHotWater(st state, e *entry, heatJ, electricJ float64, at func(int64) time.Time) {
	on := e.toCylinder && e.phase != idle
	switch {
	case on && !l.inHotWater:
		l.inHotWater = true
		l.hot = HotWaterRun{From: at(e.fromMS)}
	case !on && l.inHotWater:
		l.inHotWater = false
		l.hot.To = at(e.fromMS)
		l.hotWater = append(l.hotWater, l.hot)
	}
	if l.inHotWater {
		if st == stateHotWater {
			l.hot.ElectricityKWh += electricJ / jPerKWh
		}
		if st == stateHotWater || heatJ > 0 {
			l.hot.HeatKWh += heatJ / jPerKWh
		}
		l.hot.PeakFlowC = max(l.hot.PeakFlowC, e.flowC)
	}
}

// endDay closes a local day.
func (l *ledger) endDay(date string) {
	if l.day.seconds > 0 {
		l.days = append(l.days, l.day.truth(date))
	}
	l.total.add(&l.day)
	l.day = sums{}
}

// closeOpen adds the episodes that are still going on to a copy.
func (l *ledger) closeOpen(t *Truth, now time.Time) {
	if l.inRun {
		run := l.run
		run.To, run.Open = now, true
		t.Runs = append(t.Runs, run)
	}
	if l.inDefrost {
		d := l.defrost
		d.To = now
		t.Defrosts = append(t.Defrosts, d)
	}
	if l.inHotWater {
		h := l.hot
		h.To = now
		t.HotWater = append(t.HotWater, h)
	}
}

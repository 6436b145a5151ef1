package operation

import (
	"math"
	"time"

	"coldweek/ingest"
)

// Limits of what is taken for a defrost (common practice, no source).
const (
	// By reversing the cycle a defrost takes heat from the water: the return is
	// warmer than the flow by more than drawnK for at least minDrawnS, and by
	// more than clearlyDrawnK at some moment.
	drawnK, clearlyDrawnK = 0.3, 0.8
	minDrawnS             = 60
	// With hot gas none is taken and none given: the difference falls to a
	// small part of what it was and power to a smaller part, for at least
	// minHotGasS.
	idleDifferenceShare, idleDifferenceK = 0.25, 0.3
	idlePowerShare                       = 0.85
	minHotGasS                           = 100
	// Signs closer together than this belong to one defrost.
	mergeDefrostS = 180
	// A defrost begins with the fall of power, at most this long before.
	maxOnsetS, onsetPowerShare = 300, 0.8
	// Power is back when it exceeds its defrost level by this factor.
	backPowerFactor = 1.15
	// No frost forms on the coil when it is warmer.
	maxDrawnOutdoorC, maxHotGasOutdoorC = 12, 9
	// A pause next to a defrost this short is the valve's, not the plant's.
	maxValvePauseS = 240
)

// findDefrosts marks defrosts: as the mode says where it is known, else by
// what they do to water and power.
func (d *detector) findDefrosts() {
	d.before = newReference(d)
	if d.mode != nil {
		d.defrostsByMode()
	}
	d.defrostsByReversal()
	d.defrostsByHotGas()
	for _, e := range d.op.Defrosts {
		d.fillValvePauses(e)
		for i := e.First; i < e.Last; i++ {
			if d.known(i) {
				d.op.State[i], d.running[i] = Defrost, true
			}
		}
	}
}

func (d *detector) defrostsByMode() {
	d.spans(func(i int) bool {
		m, ok := d.modeAt(i)
		return ok && m == ingest.ModeDefrost
	}, func(first, last int) {
		// The valve is back before the water gets any heat.
		last = d.untilWarm(last)
		d.addDefrost(first, last, d.t.EdgeMS[first], d.t.EdgeMS[last], !d.draws(first, last))
	})
}

// defrostsByReversal looks for heat flowing back while the machine works.
func (d *detector) defrostsByReversal() {
	d.spans(func(i int) bool {
		return !d.modeKnown(i) && d.flows(i) && d.diffK[i] < -drawnK && !(at(d.t.OutdoorC, i) > maxDrawnOutdoorC)
	}, func(first, last int) {
		if d.seconds(first, last) < minDrawnS || !d.draws(first, last) || !d.works(first, last) {
			return
		}
		last = d.untilWarm(last)
		first, fromMS := d.onset(first)
		d.addDefrost(first, last, fromMS, d.t.EdgeMS[last], false)
	})
}

// draws says whether heat clearly flows back somewhere between.
func (d *detector) draws(first, last int) bool {
	for i := first; i < last; i++ {
		if d.diffK[i] < -clearlyDrawnK {
			return true
		}
	}
	return false
}

// works says whether the machine takes running power for at least half of the
// time: a plant at rest can have its pipes warmed from behind.
func (d *detector) works(first, last int) bool {
	onS := 0.0
	for i := first; i < last; i++ {
		if d.running[i] {
			onS += d.t.DurS[i]
		}
	}
	return onS >= d.seconds(first, last)/2
}

// untilWarm moves an end on to where flow and return are equally warm.
func (d *detector) untilWarm(last int) int {
	for last < len(d.diffK) && d.diffK[last] < 0 {
		last++
	}
	return last
}

// onset moves a beginning back to the fall of power that started it. The time
// is half a sample earlier than the first low sample: the fall lies between
// both.
func (d *detector) onset(first int) (int, int64) {
	fromMS := d.t.EdgeMS[first]
	referenceW := d.before.powerW(d, first, maxOnsetS)
	if math.IsNaN(referenceW) {
		return first, fromMS
	}
	for i := first; i > 0 && d.seconds(i-1, first) <= maxOnsetS; i-- {
		if before := at(d.t.PowerW, i-1); before >= onsetPowerShare*referenceW {
			if i == first && at(d.t.PowerW, i) >= onsetPowerShare*referenceW {
				return first, fromMS // power tells nothing here
			}
			return i, d.t.EdgeMS[i] - int64(d.t.DurS[i-1]*500)
		}
	}
	return first, fromMS
}

// defrostsByHotGas looks for the machine working at reduced power while the
// water gets nothing.
func (d *detector) defrostsByHotGas() {
	for i := 1; i < len(d.running); i++ {
		if !d.fallsIdle(i) {
			continue
		}
		differenceK, powerW := d.before.differenceK(d, i, 0), d.before.powerW(d, i, 0)
		if math.IsNaN(differenceK) || math.IsNaN(powerW) || differenceK < 4*idleDifferenceK {
			continue
		}
		last := d.idleUntil(i, powerW)
		if d.isHotGas(i, last, differenceK) {
			d.addDefrost(i, last, d.t.EdgeMS[i]-int64(d.t.DurS[i-1]*500), d.t.EdgeMS[last], true)
			i = last
		}
	}
}

// fallsIdle says whether power drops in interval i as at the beginning of a
// defrost.
func (d *detector) fallsIdle(i int) bool {
	return !d.modeKnown(i) && d.running[i-1] && d.op.State[i-1] != Defrost && d.known(i) && d.flows(i) &&
		at(d.t.PowerW, i) < idlePowerShare*at(d.t.PowerW, i-1) && !(at(d.t.OutdoorC, i) > maxHotGasOutdoorC)
}

// idleUntil returns where power comes back after a fall in interval first: it
// climbs past its level of the meantime and towards that of before.
func (d *detector) idleUntil(first int, powerW float64) int {
	levelW := math.NaN()
	last := first
	for ; last < len(d.running) && d.known(last) && d.flows(last) && !d.modeKnown(last); last++ {
		w := d.t.PowerW[last]
		if w > idlePowerShare*powerW || d.seconds(first, last) > minHotGasS && w > backPowerFactor*levelW {
			break
		}
		levelW = max(w, orZero(levelW))
	}
	for last > first+1 && d.t.PowerW[last-1] > d.t.PowerW[last-2] && d.t.PowerW[last-1] > 1.02*d.t.PowerW[last-2] && d.diffK[last-1] > d.diffK[last-2] {
		last--
	}
	return last
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// isHotGas says whether the water gets nothing towards the end of an idle
// stretch that is no stop.
func (d *detector) isHotGas(first, last int, differenceK float64) bool {
	if last >= len(d.running) || d.seconds(first, last) < minHotGasS || !d.works(first, last) || !d.known(last) || !d.running[min(last+1, len(d.running)-1)] {
		return false
	}
	idleS := 0.0
	for i := first; i < last; i++ {
		if d.diffK[i] < idleDifferenceShare*differenceK+idleDifferenceK {
			idleS += d.t.DurS[i]
		}
	}
	return idleS >= d.seconds(first, last)/3
}

// fillValvePauses makes the pauses of the four-way valve on both sides of a
// defrost part of the run.
func (d *detector) fillValvePauses(e Defrosting) {
	before := e.First
	for before > 0 && d.known(before-1) && !d.running[before-1] && d.seconds(before-1, e.First) <= maxValvePauseS {
		before--
	}
	if before > 0 && d.running[before-1] {
		d.setRunning(before, e.First, true)
	}
	after := e.Last
	for after < len(d.running) && d.known(after) && !d.running[after] && d.seconds(e.Last, after+1) <= maxValvePauseS {
		after++
	}
	if after < len(d.running) && d.running[after] {
		d.setRunning(e.Last, after, true)
	}
}

// spans calls found for each longest stretch of intervals that are so.
func (d *detector) spans(so func(i int) bool, found func(first, last int)) {
	first := -1
	for i := 0; i <= len(d.running); i++ {
		switch is := i < len(d.running) && so(i); {
		case is && first < 0:
			first = i
		case !is && first >= 0:
			found(first, i)
			first = -1
		}
	}
}

func (d *detector) modeKnown(i int) bool {
	_, ok := d.modeAt(i)
	return ok
}

func (d *detector) flows(i int) bool {
	lph := at(d.t.FlowLPH, i)
	return lph > minCirculatingLPH || d.t.FlowLPH == nil
}

// addDefrost keeps a defrost in order of time, joined to one it touches.
func (d *detector) addDefrost(first, last int, fromMS, toMS int64, hotGas bool) {
	list := d.op.Defrosts
	place := len(list)
	for place > 0 && list[place-1].First > first {
		place--
	}
	if place > 0 && d.seconds(min(list[place-1].Last, first), first) < mergeDefrostS {
		e := &list[place-1]
		if last > e.Last {
			e.Last, e.To = last, time.UnixMilli(toMS)
		}
		e.HotGas = e.HotGas && hotGas
		return
	}
	e := Defrosting{First: first, Last: last, From: time.UnixMilli(fromMS), To: time.UnixMilli(toMS), HotGas: hotGas}
	d.op.Defrosts = append(list[:place], append([]Defrosting{e}, list[place:]...)...)
}

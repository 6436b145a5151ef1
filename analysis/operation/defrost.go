package operation

import (
	"math"
	"time"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// Limits of what is taken for a defrost (common practice, no source).
const (
	// A machine that works and gives the water less than idleCOP of what it
	// takes is melting its frost, once it has run long enough to be warm.
	idleCOP = 0.7
	// By reversing the cycle it takes heat from the water, clearly at some
	// moment, and for at least minDrawnS; with hot gas it takes and gives none.
	clearlyDrawnK       = 0.8
	hardlyDrawnK        = 0.4 // less is the lag of the sensors
	minDrawnS, minIdleS = 60, 100
	// The flow falls by at least so much.
	minFlowFallK = 1
	// Less difference than this is none, for water that gets no heat.
	noDifferenceK = 0.35
	// Before it, the run gave heat at no less than this difference.
	warmDifferenceK = 1
	// Signs closer together than this belong to one defrost.
	mergeDefrostS = 150
	// A defrost begins with the fall of power, at most this long before.
	maxOnsetS, onsetPowerShare = 240, 0.8
	// No frost forms on the coil when it is warmer.
	maxDrawnOutdoorC, maxIdleOutdoorC = 12, 9
	// A pause next to a defrost this short is the valve's, not the plant's.
	maxValvePauseS = 240
	// No defrost lasts longer, and the compressor heats at some time within as long
	// before or after: else flow and return are exchanged, or the machine gives
	// nothing for another reason.
	maxDefrostS = 45 * 60
)

// findDefrosts marks defrosts: as the mode says where it is known, else by
// what they do to water and power.
func (d *detector) findDefrosts() {
	if d.mode != nil {
		d.defrostsByMode()
	}
	d.defrostsByHeat()
	for _, e := range d.op.Defrosts {
		d.fillValvePauses(e)
		for i := e.First; i < e.Last; i++ {
			if d.known(i) {
				d.op.State[i], d.running[i] = Defrost, true
			}
		}
	}
}

// before is what the plant did before a moment, made when first asked for; the
// running intervals must not change in between.
func (d *detector) before() *reference {
	if d.earlier == nil {
		d.earlier = newReference(d)
	}
	return d.earlier
}

func (d *detector) defrostsByMode() {
	d.spans(func(i int) bool {
		m, ok := d.modeAt(i)
		return ok && m == ingest.ModeDefrost
	}, func(first, last int) {
		drawn := d.draws(first, last)
		if warm := d.untilWarm(first, last); drawn && warm > last && d.seconds(first, warm) <= maxDefrostS {
			last = warm // the valve is back before the water gets any heat
		}
		d.addDefrost(first, last, d.t.EdgeMS[first]-d.halfSampleMS(first), d.t.EdgeMS[last], !drawn)
	})
}

// defrostsByHeat looks for the machine at work while the water gets nothing,
// or gives.
func (d *detector) defrostsByHeat() {
	d.spans(d.idle, func(first, last int) {
		drawn := d.draws(first, last)
		outdoorC := trace.At(d.t.OutdoorC, first)
		switch {
		case !d.works(first, last) || !d.flowFalls(first, last):
			return // pipes warmed from behind, at rest or by a changeover
		case d.seconds(first, last) > maxDefrostS || !d.heatsAround(first, last):
			return
		case drawn && (d.seconds(first, last) < minDrawnS || outdoorC > maxDrawnOutdoorC):
			return
		case !drawn && (d.seconds(first, last) < minIdleS || outdoorC > maxIdleOutdoorC || !d.interruptsRun(first, last)):
			return
		}
		if drawn {
			last = d.untilWarm(first, last)
		} else {
			last = d.whileIdle(first, last)
		}
		first, fromMS := d.onset(first)
		d.addDefrost(first, last, fromMS, d.t.EdgeMS[last], !drawn)
	})
}

// idle says whether the machine gives the water next to nothing for what it
// takes. At the valve's pauses the power is low and only heat tells.
func (d *detector) idle(i int) bool {
	return !d.modeKnown(i) && d.known(i) && d.flows(i) && d.t.HeatW != nil &&
		d.t.HeatW[i] < idleCOP*max(trace.At(d.t.PowerW, i), d.op.Levels.OnW)
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

// flowFalls says whether the flow got colder than before. At a changeover to
// hot water it is the return that gets warm.
func (d *detector) flowFalls(first, last int) bool {
	limitC := d.before().flowC(d, first) - minFlowFallK
	for i := first; i < last; i++ {
		if d.t.FlowC[i] < limitC || math.IsNaN(limitC) {
			return true
		}
	}
	return false
}

// works says whether the machine takes running power for at least half of the
// time.
func (d *detector) works(first, last int) bool {
	onS := 0.0
	for i := first; i < last; i++ {
		if d.running[i] {
			onS += d.t.DurS[i]
		}
	}
	return onS >= d.seconds(first, last)/2
}

// interruptsRun says whether a run that gave heat goes on afterwards: a cold
// start gives nothing at first, and a stop gives nothing any more.
func (d *detector) interruptsRun(first, last int) bool {
	if !(d.before().differenceK(d, first, 0) > warmDifferenceK) {
		return false
	}
	for i := last; i < len(d.running) && d.seconds(last, i) < maxValvePauseS; i++ {
		if d.running[i] && d.diffK[i] > noDifferenceK {
			return true
		}
	}
	return false
}

// heatsAround says whether the compressor heats not long before or after.
func (d *detector) heatsAround(first, last int) bool {
	heats := func(i int) bool { return d.running[i] && d.diffK[i] > warmDifferenceK }
	for i := first; i > 0 && d.seconds(i-1, first) < maxDefrostS; i-- {
		if heats(i - 1) {
			return true
		}
	}
	for i := last; i < len(d.running) && d.seconds(last, i) < maxDefrostS; i++ {
		if heats(i) {
			return true
		}
	}
	return false
}

// untilWarm moves an end to where the flow is no longer clearly colder than
// the return: when both sensors, which lag by some ten seconds, show it equally
// warm, the water has been warming for a while.
func (d *detector) untilWarm(first, last int) int {
	for last < len(d.diffK) && d.diffK[last] < -hardlyDrawnK {
		last++
	}
	for last > first+1 && d.diffK[last-1] >= -hardlyDrawnK {
		last--
	}
	return last
}

// whileIdle moves an end back to where the water begins to warm.
func (d *detector) whileIdle(first, last int) int {
	for last > first+1 && d.diffK[last-1] > noDifferenceK {
		last--
	}
	return last
}

// halfSampleMS is half the distance to the sample before: what shows first in
// interval i began that much earlier in the mean.
func (d *detector) halfSampleMS(i int) int64 {
	if i == 0 {
		return 0
	}
	return int64(d.t.DurS[i-1] * 500)
}

// onset moves a beginning back to the fall of power that started it.
func (d *detector) onset(first int) (int, int64) {
	fromMS := d.t.EdgeMS[first]
	usualW := d.before().powerW(d, first, maxOnsetS)
	if math.IsNaN(usualW) {
		return first, fromMS
	}
	for i := first; i > 0 && d.seconds(i-1, first) <= maxOnsetS; i-- {
		if trace.At(d.t.PowerW, i) < onsetPowerShare*usualW && trace.At(d.t.PowerW, i-1) >= onsetPowerShare*usualW {
			return i, d.t.EdgeMS[i] - d.halfSampleMS(i)
		}
	}
	return first, fromMS
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
	lph := trace.At(d.t.FlowLPH, i)
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

package operation

import (
	"math"

	"coldweek/analysis/trace"
)

const (
	// minSpeedHz is what a stopped compressor's reported speed stays below.
	minSpeedHz = 5
	// debounceS: neither a run nor a pause is shorter (common practice, no
	// source): valves and fans make short peaks of power.
	debounceS = 30
	// maxRunGapS: a plant that runs on both sides of a silence this short is
	// taken to have run through it.
	maxRunGapS = 30 * 60
	// minRunningCOP: powers that are all alike belong to a running compressor
	// only if heat comes out at more than this times the power.
	minRunningCOP = 1.3
)

// findRunning marks the intervals in which the compressor runs, by its speed
// where known, else by power with hysteresis.
func (d *detector) findRunning() {
	d.op.Levels = d.learnLevels()
	on := false
	for i := range d.running {
		d.running[i], on = d.runs(i, on)
	}
	d.debounce()
}

// learnLevels takes the trace's own levels unless no heat came of them: then
// nothing ran.
func (d *detector) learnLevels() Levels {
	if own := d.ownLevels(); own.Known() && d.givesHeat(own) {
		return own
	}
	return Levels{OnW: math.MaxFloat64, OffW: math.MaxFloat64}
}

// givesHeat says whether heat comes out while the power is at its running
// level: without it, what looks like running is a pump or a controller.
func (d *detector) givesHeat(l Levels) bool {
	powerJ, heatJ := 0.0, 0.0
	for i, w := range d.t.PowerW {
		if d.t.Covered(i) && w > l.OnW {
			powerJ += w * d.t.DurS[i]
			heatJ += d.t.HeatW[i] * d.t.DurS[i]
		}
	}
	return powerJ == 0 || heatJ > minRunningCOP*powerJ || d.t.HeatW == nil
}

// runs tells for one interval, given the state before it.
func (d *detector) runs(i int, on bool) (now, next bool) {
	if hz := trace.At(d.speedHz, i); !math.IsNaN(hz) {
		now = hz >= minSpeedHz
		return now, now
	}
	w := trace.At(d.t.PowerW, i)
	switch {
	case math.IsNaN(w):
		return false, on
	case on:
		now = w >= d.op.Levels.OffW
	default:
		now = w > d.op.Levels.OnW
	}
	return now, now
}

// debounce takes out pauses, then runs, shorter than debounceS that lie
// between known intervals.
func (d *detector) debounce() {
	for _, short := range []bool{false, true} {
		for first := 0; first < len(d.running); {
			last := d.sameUntil(first)
			inside := first > 0 && last < len(d.running) && d.known(first-1) && d.known(last)
			if inside && d.known(first) && d.running[first] == short && d.seconds(first, last) < debounceS {
				d.setRunning(first, last, !short)
			}
			first = last
		}
	}
}

// setRunning overrides the known intervals first <= i < last.
func (d *detector) setRunning(first, last int, on bool) {
	for i := first; i < last; i++ {
		d.running[i] = on && d.known(i)
	}
}

// sameUntil returns the end of the stretch of like intervals that begins at
// first.
func (d *detector) sameUntil(first int) int {
	last := first + 1
	for last < len(d.running) && d.running[last] == d.running[first] && d.known(last) == d.known(first) {
		last++
	}
	return last
}

// joinRuns makes runs of the running intervals, across short silences.
func (d *detector) joinRuns() {
	seenOff, lastKnown := false, -1
	for i := range d.running {
		if !d.known(i) {
			continue
		}
		n := len(d.op.Runs) - 1
		fresh := n >= 0 && !seenOff && d.seconds(lastKnown+1, i) <= maxRunGapS // the last run reaches to here
		switch {
		case d.running[i] && fresh:
			d.op.Runs[n].Last = i + 1
		case d.running[i]:
			d.op.Runs = append(d.op.Runs, Run{First: i, Last: i + 1, StartSeen: seenOff})
		case fresh:
			d.op.Runs[n].EndSeen = true
		}
		seenOff, lastKnown = !d.running[i], i
	}
}

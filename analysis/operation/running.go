package operation

import "math"

const (
	// minSpeedHz is what a stopped compressor's reported speed stays below.
	minSpeedHz = 5
	// debounceS: neither a run nor a pause is shorter (common practice, no
	// source): valves and fans make short peaks of power.
	debounceS = 30
	// maxRunGapS: a plant that runs on both sides of a silence this short is
	// taken to have run through it.
	maxRunGapS = 30 * 60
	// alwaysOnCOP: powers of one kind only belong to a running compressor if
	// heat comes out at more than this times the power.
	alwaysOnCOP = 1.3
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

// learnLevels prefers the trace's own powers, then what was learned before.
func (d *detector) learnLevels() Levels {
	if d.t.PowerW == nil {
		return Levels{}
	}
	if own := LearnLevels(d.t.PowerW); own.Known() {
		return own
	}
	if d.config.Levels.Known() {
		return d.config.Levels
	}
	return d.oneKindLevels()
}

// oneKindLevels serves a trace that shows only resting or only running: heat
// tells which.
func (d *detector) oneKindLevels() Levels {
	powerW, heatW, n := 0.0, 0.0, 0
	for i, w := range d.t.PowerW {
		if d.t.Covered(i) {
			powerW, heatW, n = powerW+w, heatW+d.t.HeatW[i], n+1
		}
	}
	if n > 0 && heatW > alwaysOnCOP*powerW && powerW > 0 {
		mean := powerW / float64(n)
		return Levels{OnW: mean / 10, OffW: mean / 20}
	}
	return Levels{OnW: math.MaxFloat64, OffW: math.MaxFloat64}
}

// runs tells for one interval, given the state before it.
func (d *detector) runs(i int, on bool) (now, next bool) {
	if hz := at(d.speedHz, i); !math.IsNaN(hz) {
		now = hz >= minSpeedHz
		return now, now
	}
	w := at(d.t.PowerW, i)
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

// debounce takes out runs and pauses shorter than debounceS, unless a single
// interval is longer than that anyway.
func (d *detector) debounce() {
	for _, flip := range []bool{false, true} { // fill pauses first, then drop peaks
		for first := 0; first < len(d.running); {
			last := d.sameUntil(first)
			short := last-first > 0 && d.seconds(first, last) < debounceS
			inside := first > 0 && last < len(d.running) && d.known(first-1) && d.known(last)
			if short && inside && d.running[first] == flip && d.known(first) {
				for i := first; i < last; i++ {
					d.running[i] = !flip
				}
			}
			first = last
		}
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
	var runs []Run
	seenOff := false // since the last run, or since the beginning
	lastKnown := -1
	for i := range d.running {
		if !d.known(i) {
			continue
		}
		if d.running[i] {
			n := len(runs) - 1
			joins := n >= 0 && !seenOff && d.seconds(lastKnown+1, i) <= maxRunGapS
			if joins {
				runs[n].Last = i + 1
			} else {
				runs = append(runs, Run{First: i, Last: i + 1, StartSeen: seenOff})
			}
			seenOff = false
		} else {
			if n := len(runs) - 1; n >= 0 && !seenOff && d.seconds(lastKnown+1, i) <= maxRunGapS {
				runs[n].EndSeen = true
			}
			seenOff = true
		}
		lastKnown = i
	}
	d.op.Runs = runs
}

package sensor

import (
	"fmt"
	"math"
	"slices"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	// A clock that jumps ahead leaves a gap, one that falls back makes readings
	// overlap; shorter ones are not looked for.
	leastJumpMS = 5 * 60 * 1000
	// In an overlap, densely many readings take denseShare of their usual time.
	denseShare, densely = 0.65, 10
	// A register that rises by less than stoppedShare of what the power on both
	// sides of a gap calls for has not lived through it; that share must be more than
	// its step.
	stoppedShare = 0.25
	// By how much the size of one jump may be off.
	jumpDoubtH, overlapDoubtShare = 0.05, 0.05
)

// clock looks for times that cannot be: gaps in which nothing happened, times
// that were used twice, and daylight at night.
func (l *look) clock() []Suspicion {
	beat := l.beat()
	var jumps [256]jump
	n := l.ahead(beat, &jumps)
	n = l.back(beat, &jumps, n)
	if n > 0 {
		return []Suspicion{l.jumped(jumps[:n])}
	}
	if s, ok := l.overwritten(); ok {
		return []Suspicion{s}
	}
	if s, ok := l.daylight(); ok {
		return []Suspicion{s}
	}
	return nil
}

// jump of the clock.
type jump struct {
	fromMS, toMS int64
	aheadMS      float64 // negative: back
}

// beat is the channel with the most readings: one whose publisher never waits
// for a change.
func (l *look) beat() ingest.Column {
	var best ingest.Column
	for _, q := range []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.HeatOutput} {
		if c := l.column(q); c.Len() > best.Len() {
			best = c
		}
	}
	return best
}

// usualMS is the median spacing of a column, from a few hundred of them.
func usualMS(c ingest.Column) int64 {
	var sample [256]int64
	n, step := 0, c.Len()/len(sample)+1
	for i := 1; i < c.Len() && n < len(sample); i += step {
		sample[n] = c.UnixMS[i] - c.UnixMS[i-1]
		n++
	}
	if n == 0 {
		return 0
	}
	slices.Sort(sample[:n])
	return sample[n/2]
}

// ahead finds gaps in which no time passed.
func (l *look) ahead(beat ingest.Column, into *[256]jump) (n int) {
	usual := usualMS(beat)
	for i := 1; i < beat.Len() && n < len(into); i++ {
		fromMS, toMS := beat.UnixMS[i-1], beat.UnixMS[i]
		if gapMS := toMS - fromMS; gapMS >= leastJumpMS && gapMS > 10*usual && l.nothingHappened(fromMS, toMS) {
			into[n] = jump{fromMS, toMS, float64(gapMS - usual)}
			n++
		}
	}
	return n
}

// counter is a register and the rate it counts: W are kWh, and l/h are m³, in
// 1000 h.
type counter struct {
	register ingest.Quantity
	rate     []float64
}

func (l *look) registers() [3]counter {
	return [3]counter{
		{ingest.ElectricityRegister, l.t.PowerW}, {ingest.HeatRegister, l.t.HeatW}, {ingest.VolumeRegister, l.t.FlowLPH},
	}
}

// nothingHappened holds the registers against the rates on both sides of a
// gap. Without a register that is fine enough there is no telling.
func (l *look) nothingHappened(fromMS, toMS int64) bool {
	decided := false
	for _, r := range l.registers() {
		c := l.column(r.register)
		rise, ok := riseOver(c, fromMS, toMS)
		expected := min(l.rateBefore(r.rate, fromMS), l.rateAfter(r.rate, toMS)) * float64(toMS-fromMS) / (1000 * hourMS)
		if !ok || !(expected*stoppedShare > stepOf(c)) {
			continue
		}
		if rise > stoppedShare*expected {
			return false
		}
		decided = true
	}
	return decided
}

// riseOver is what a register rose from its last reading before a gap to the
// first after it.
func riseOver(c ingest.Column, fromMS, toMS int64) (float64, bool) {
	before, exact := slices.BinarySearch(c.UnixMS, fromMS)
	if !exact {
		before--
	}
	after, _ := slices.BinarySearch(c.UnixMS, toMS)
	if before < 0 || after >= c.Len() {
		return 0, false
	}
	return c.Value[after] - c.Value[before], true
}

// besideMS of a gap are looked at for the rates there.
const besideMS = 5 * 60 * 1000

func (l *look) rateBefore(rate []float64, ms int64) float64 {
	last, _ := slices.BinarySearch(l.t.EdgeMS, ms)
	var p span
	for i := last - 1; i >= 0 && ms-l.t.EdgeMS[i] <= besideMS && i < l.t.Len(); i-- {
		p.add(trace.At(rate, i), l.t.DurS[i])
	}
	return p.mean()
}

func (l *look) rateAfter(rate []float64, ms int64) float64 {
	first, _ := slices.BinarySearch(l.t.EdgeMS, ms)
	var p span
	for i := first; i < l.t.Len() && l.t.EdgeMS[i]-ms <= besideMS; i++ {
		p.add(trace.At(rate, i), l.t.DurS[i])
	}
	return p.mean()
}

// stepOf is the smallest step a register made.
func stepOf(c ingest.Column) float64 {
	smallest := math.Inf(1)
	for i := 1; i < c.Len(); i++ {
		if step := math.Abs(c.Value[i] - c.Value[i-1]); step > 1e-9 {
			smallest = min(smallest, step)
		}
	}
	return smallest
}

// back finds times that were used twice: readings of two series, each of which
// keeps the usual beat, lie between each other.
func (l *look) back(beat ingest.Column, into *[256]jump, n int) int {
	usual := usualMS(beat)
	if !regular(beat, usual) {
		return n
	}
	ms := beat.UnixMS
	for i := densely; i < len(ms) && n < len(into); i++ {
		if !dense(ms, i, usual) {
			continue
		}
		first := i - densely
		for i+1 < len(ms) && dense(ms, i+1, usual) {
			i++
		}
		if ms[i]-ms[first] >= leastJumpMS && l.interleaved(beat, first, i, usual) {
			// both ends hold some readings of one series
			into[n] = jump{ms[first], ms[i], -float64(int64(i-first)*usual - (ms[i] - ms[first]))}
			n++
		}
	}
	return n
}

func dense(ms []int64, i int, usual int64) bool {
	return float64(ms[i]-ms[i-densely]) < denseShare*float64(densely*usual)
}

// regular says whether most readings keep the beat.
func regular(c ingest.Column, usual int64) bool {
	kept, n, step := 0, 0, c.Len()/512+1
	for i := 1; i < c.Len(); i += step {
		n++
		if near(c.UnixMS[i]-c.UnixMS[i-1], usual) {
			kept++
		}
	}
	return kept*10 >= n*7
}

// near is within three tenths.
func near(ms, usual int64) bool { return 10*max(ms-usual, usual-ms) <= 3*usual }

// interleaved says whether readings first to last are those of two series. A
// publisher that merely went twice as fast for a while has its readings in the
// middle between each other.
func (l *look) interleaved(c ingest.Column, first, last int, usual int64) bool {
	kept, middle, n := 0, 0, 0
	for i := first; i+2 <= last; i++ {
		n++
		if near(c.UnixMS[i+2]-c.UnixMS[i], usual) {
			kept++
		}
		if near(2*(c.UnixMS[i+1]-c.UnixMS[i]), usual) {
			middle++
		}
	}
	return kept*10 >= n*7 && (middle*2 < n || l.zigzag(c.UnixMS[first], c.UnixMS[last]))
}

// zigzag says whether a register goes down and up again all through a time; a
// heat register may fall in a defrost.
func (l *look) zigzag(fromMS, toMS int64) bool {
	for _, q := range []ingest.Quantity{ingest.ElectricityRegister, ingest.VolumeRegister, ingest.HeatRegister} {
		c := l.column(q)
		falls, n := 0, 0
		for i := 1; i < c.Len(); i++ {
			if c.UnixMS[i-1] < fromMS || c.UnixMS[i] > toMS {
				continue
			}
			n++
			if c.Value[i] < c.Value[i-1] {
				falls++
			}
		}
		if falls*4 > n {
			return true
		}
	}
	return false
}

// jumped makes one suspicion of all jumps: an offset of one.
func (l *look) jumped(jumps []jump) Suspicion {
	var minutes [256]float64
	var all span
	sinceMS, untilMS := int64(math.MaxInt64), int64(0)
	for i, j := range jumps {
		minutes[i] = math.Abs(j.aheadMS) / 60_000
		all.add(minutes[i], 1)
		sinceMS, untilMS = min(sinceMS, j.fromMS), max(untilMS, j.toMS)
	}
	channels := []ingest.Channel{l.beat().Channel}
	if len(jumps) == 1 {
		h := jumps[0].aheadMS / hourMS
		doubtH := jumpDoubtH
		if h < 0 {
			doubtH -= overlapDoubtShare * h // lost readings shorten an overlap
		}
		return Suspicion{
			Kind: ClockOffset, Channels: channels, Since: utc(sinceMS), Until: utc(l.t.EdgeMS[l.t.Len()]), Size: h, Low: h - doubtH, High: h + doubtH, Unit: "h",
			Detail: fmt.Sprintf("the publisher's clock jumped %s: %s; set its clock or let readings be timed on arrival", byHours(h), jumpProof(h)),
		}
	}
	_, middle, _ := quartiles(minutes[:len(jumps)])
	return Suspicion{
		Kind: ClockJumps, Channels: channels, Since: utc(sinceMS), Until: utc(untilMS), Size: middle, Low: all.low, High: all.high, Unit: "min",
		Detail: fmt.Sprintf("the publisher's clock jumped %d times, by %.0f to %.0f minutes: times were used twice, or left out while no register moved; what the plant did in these times cannot be told, so set its clock or let readings be timed on arrival",
			len(jumps), all.low, all.high),
	}
}

func byHours(h float64) string {
	if h < 0 {
		return fmt.Sprintf("back by %.2f h", -h)
	}
	return fmt.Sprintf("ahead by %.2f h", h)
}

func jumpProof(h float64) string {
	if h < 0 {
		return "times were used twice"
	}
	return "the registers did not move in the time left out"
}

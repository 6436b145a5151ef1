package sensor

import (
	"fmt"
	"math"

	"coldweek/ingest"
)

const (
	// A register steps when it rises by more than stepTimes what the highest
	// rate allows between two readings, and by stepSteps of its own steps.
	stepTimes, stepSteps = 3.0, 5.0
	// togetherMS apart, two registers stepped together.
	togetherMS = 5 * 60 * 1000
	// meanOverMS before a step are taken for the usual rate.
	meanOverMS = 3 * hourMS
	// stepDoubtShare: what was overwritten is gone, and with it its rate.
	stepDoubtShare = 0.4
)

// leap is a register's step and how long the plant needed for it.
type leap struct {
	atMS   int64
	tookMS float64
}

// overwritten finds a clock that fell back onto times that were used already,
// to the millisecond: the later readings took the place of the earlier ones, and
// registers seem to leap. One register may leap by itself; two do so only if
// time is missing.
func (l *look) overwritten() (Suspicion, bool) {
	var leaps [3]leap
	n := 0
	for _, r := range l.registers() {
		if at, ok := l.leap(l.column(r.register), r.rate); ok {
			leaps[n] = at
			n++
		}
	}
	if n < 2 || max(leaps[0].atMS, leaps[1].atMS)-min(leaps[0].atMS, leaps[1].atMS) > togetherMS {
		return Suspicion{}, false
	}
	var took span
	for _, at := range leaps[:n] {
		took.add(-at.tookMS/hourMS, 1)
	}
	low, high := took.low*(1+stepDoubtShare), took.high*(1-stepDoubtShare)
	return Suspicion{
		Kind: ClockOffset, Channels: []ingest.Channel{l.beat().Channel}, Since: utc(leaps[0].atMS), Until: utc(l.t.EdgeMS[l.t.Len()]),
		Size: took.mean(), Low: low, High: high, Unit: "h",
		Detail: fmt.Sprintf("registers leaped together, by about what the plant takes in %.1f h: the publisher's clock fell back by that (%.1f to %.1f h) and later readings overwrote earlier ones; set its clock or let readings be timed on arrival",
			-took.mean(), -high, -low),
	}, true
}

// leap finds a register's greatest leap.
func (l *look) leap(c ingest.Column, rate []float64) (leap, bool) {
	most := 0.0
	for _, w := range rate {
		if w > most {
			most = w
		}
	}
	if c.Len() < 2 || most == 0 {
		return leap{}, false
	}
	found, greatest, least := -1, 0.0, stepSteps*stepOf(c)
	for i := 1; i < c.Len(); i++ {
		rise := c.Value[i] - c.Value[i-1]
		if rise > greatest && rise > least && c.UnixMS[i]-c.UnixMS[i-1] < leastJumpMS &&
			rise > stepTimes*most*float64(c.UnixMS[i]-c.UnixMS[i-1])/(1000*hourMS) {
			found, greatest = i, rise
		}
	}
	if found < 0 {
		return leap{}, false
	}
	var usual span
	fromMS := c.UnixMS[found] - meanOverMS
	for i := range rate {
		if l.t.EdgeMS[i] >= fromMS && l.t.EdgeMS[i] < c.UnixMS[found] {
			usual.add(math.Max(rate[i], 0), l.t.DurS[i])
		}
	}
	tookMS := greatest * 1000 * hourMS / usual.mean()
	return leap{c.UnixMS[found], tookMS}, tookMS > leastJumpMS && usual.valueS > 0
}

package siteday

import (
	"math"

	"coldweek/analysis/operation"
)

// How the time around a defrost is divided (common practice, no source).
const (
	// marginS before a defrost or a stop belongs to neither side: their detected
	// ends are good to some ten seconds, and the machine slows down before.
	marginS = 60
	// settleS of the run after a start or a changeover, and after the defrost
	// before, are no reference.
	settleS, settleAfterDefrostS = 5 * 60, 10 * 60
	// referenceS is taken on each side at most.
	referenceS = 12 * 60
	// A recovery ends when heat and power, over backS, are within backShare of
	// what they were before, but not before leastRecoveryS, and at the latest
	// after mostRecoveryS.
	backS, backShare              = 3 * 60, 0.1
	leastRecoveryS, mostRecoveryS = 3 * 60, 20 * 60
)

// surround finds the undisturbed minutes before and after a defrost, and the
// recovery between.
func (s *summer) surround(episode *Defrost, d operation.Defrosting) {
	kind, begin := s.kindBefore(d.First)
	if kind == operation.Unknown {
		return
	}
	episode.HotWater = kind == operation.HotWater
	last := s.cut(d.First, -marginS)
	first := max(begin, s.cut(last, -referenceS))
	if first < last {
		episode.Before = s.stretch(first, last)
	}
	end := s.sameUntil(d.Last, kind)
	recovered := s.recovery(d.Last, end, episode.Before)
	episode.Recovery = s.stretch(d.Last, recovered)
	if end < s.t.Len() && s.op.State[end] != kind {
		end = s.cut(end, -marginS)
	}
	if end = min(end, s.cut(recovered, referenceS)); recovered < end {
		episode.After = s.stretch(recovered, end)
	}
}

// kindBefore says what the defrost interrupted and from when on that had
// settled.
func (s *summer) kindBefore(i int) (operation.State, int) {
	if i == 0 {
		return operation.Unknown, i
	}
	kind := s.op.State[i-1]
	if kind != operation.Heating && kind != operation.HotWater {
		return operation.Unknown, i
	}
	first := i
	for first > 0 && s.op.State[first-1] == kind && s.seconds(first, i) < referenceS+settleAfterDefrostS+marginS {
		first--
	}
	if first > 0 && s.op.State[first-1] == operation.Defrost {
		return kind, s.cut(first, settleAfterDefrostS)
	}
	return kind, s.cut(first, settleS)
}

// cut returns the edge a time after an edge, or before it when negative.
func (s *summer) cut(i int, afterS float64) int {
	if afterS < 0 {
		first := i
		for first > 0 && s.seconds(first, i) < -afterS {
			first--
		}
		return first
	}
	last := i
	for last < s.t.Len() && s.seconds(i, last) < afterS {
		last++
	}
	return last
}

// sameUntil returns the end of the stretch of one state that begins at i.
func (s *summer) sameUntil(i int, kind operation.State) int {
	last := i
	for last < s.t.Len() && s.op.State[last] == kind && s.seconds(i, last) < mostRecoveryS+referenceS+marginS {
		last++
	}
	return last
}

// recovery returns the end of the recovery that begins at i: when both heat
// and power are back, or what bounds it; after ten minutes where it is not
// known what they were.
func (s *summer) recovery(i, end int, before Stretch) int {
	if before.S == 0 {
		return min(end, s.cut(i, settleAfterDefrostS))
	}
	limit := min(end, s.cut(i, mostRecoveryS))
	heatW, powerW := before.HeatJ/before.S, before.ElectricityJ/before.S
	from := i // of the window that ends at to
	var window Stretch
	for to := i; to < limit; to++ {
		window = window.Plus(s.stretch(to, to+1))
		for s.seconds(from, to+1) > backS {
			out := s.stretch(from, from+1)
			window = Stretch{S: window.S - out.S, HeatJ: window.HeatJ - out.HeatJ, ElectricityJ: window.ElectricityJ - out.ElectricityJ}
			from++
		}
		if s.seconds(i, to+1) >= leastRecoveryS && near(window.HeatJ, window.S, heatW) && near(window.ElectricityJ, window.S, powerW) {
			return to + 1
		}
	}
	return limit
}

func near(energyJ, lengthS, usualW float64) bool {
	return lengthS > 0 && math.Abs(energyJ/lengthS-usualW) <= backShare*usualW
}

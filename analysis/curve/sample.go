package curve

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

const (
	// minTargetS of settled heating show what the controller wants,
	// minFlowS what it gets (common practice, no source).
	minTargetS, minFlowS = 300, 1800
	// aboveLowest output the compressor can still follow the target; at its
	// lowest the water climbs above it (common practice, no source).
	aboveLowest = 1.05
	// ofPlate of its stated minimum a machine gives at low outdoor temperatures
	// and in the minutes after a start (common practice, no source).
	ofPlate = 0.9
	// atLimitK from a limit of the controller is at it.
	atLimitK = 0.3
)

// sample is an hour of settled heating.
type sample struct {
	hour       int // in the hours given
	flowC      float64
	weight     float64 // share of the hour
	roomShortK float64 // set point less room; NaN: not known
}

// samples reads hours. Targets are taken when enough hours have one, as they are
// the controller's will and no sensor's doubt is in them.
func (k *Known) samples(s *siteday.Sums) (kept []sample, fromTarget bool) {
	atEnd := targetsAtEnds(s)
	var targets, flows []sample
	lowestW := k.lowestHeatW(s)
	for i := range s.Hours {
		h := &s.Hours[i]
		one := sample{hour: i, roomShortK: math.NaN()}
		if roomC, ok := h.Room.Of(); ok && k.RoomSetC != nil {
			one.roomShortK = *k.RoomSetC - roomC
		}
		targetC, ok := h.Steady.Target.Of()
		if ok = ok && h.Steady.S >= minTargetS; !ok {
			targetC, ok = atEnd[i]
		}
		if ok && !k.atLimit(targetC) {
			one.flowC, one.weight = targetC, max(min(h.Steady.S/minFlowS, 1), minTargetS/float64(minFlowS))
			targets = append(targets, one)
		}
		flowC, ok := h.Steady.Flow.Of()
		if ok && h.Steady.S >= minFlowS && h.Steady.HeatJ > lowestW*h.Steady.CoveredS && !k.atLimit(flowC) {
			one.flowC, one.weight = flowC, h.Steady.S/h.S
			flows = append(flows, one)
		}
	}
	if len(targets) >= fewestHours && 2*len(targets) >= len(flows) {
		return targets, true
	}
	return flows, false
}

// targetsAtEnds are the targets at which heating runs stopped, by the hour: a
// plant that never settles still wants something.
func targetsAtEnds(s *siteday.Sums) map[int]float64 {
	found := map[int]float64{}
	for _, run := range s.Runs {
		if run.End == nil || run.End.TargetC == nil || run.HotWaterS > 0 {
			continue
		}
		if i, ok := hourAt(s.Hours, run.To); ok {
			found[i] = *run.End.TargetC
		}
	}
	return found
}

// hourAt returns which hour a time lies in, false for none.
func hourAt(hours []siteday.Hour, at time.Time) (int, bool) {
	after, _ := slices.BinarySearchFunc(hours, at, func(h siteday.Hour, at time.Time) int {
		if h.From.After(at) {
			return 1
		}
		return -1
	})
	return after - 1, after > 0 && at.Sub(hours[after-1].From) < time.Hour
}

func (k *Known) atLimit(flowC float64) bool {
	return k.MinimumFlowC != nil && flowC <= *k.MinimumFlowC+atLimitK || k.MaximumFlowC != nil && flowC >= *k.MaximumFlowC-atLimitK
}

// lowestHeatW is the output at and below which the compressor cannot follow:
// from the record, else from how it ended its runs.
func (k *Known) lowestHeatW(s *siteday.Sums) float64 {
	if k.MinimumHeatW != nil {
		return aboveLowest * ofPlate * *k.MinimumHeatW
	}
	if ends := endsW(s); len(ends) >= fewestEnds {
		if lowestW, ok := robust.Median(ends); ok {
			return aboveLowest * lowestW
		}
	}
	return 0
}

// endsW are the outputs at which heating runs ended by themselves.
func endsW(s *siteday.Sums) []float64 {
	var ends []float64
	for _, run := range s.Runs {
		if run.Stopped && run.HotWaterS == 0 && run.End != nil && run.End.HeatW != nil {
			ends = append(ends, *run.End.HeatW)
		}
	}
	return ends
}

package siteday

import (
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	// Before a start the circulating water is looked at for this long, before a
	// stop the running one, its target and its output for a little longer.
	endS, outputS = 30, 90
	// rampS after a start the output says little of what it settles at.
	rampS = 60
	// MaxAfterS of the pause after a run are looked at for whether the pump ran on.
	MaxAfterS = 15 * 60
	// minMovingLPH is what a resting flow meter's noise stays below.
	minMovingLPH = 30
)

// stretch sums the covered intervals first <= i < last.
func (s *summer) stretch(first, last int) Stretch {
	var sum Stretch
	for i := first; i < last; i++ {
		if s.t.Covered(i) {
			heatJ, electricityJ := s.energies(i)
			sum = sum.Plus(Stretch{S: s.t.DurS[i], HeatJ: heatJ, ElectricityJ: electricityJ})
		}
	}
	return sum
}

// begin is the water at a start: as it circulated before, else as the pump
// brings it in the first half minute. The interval in which the start fell,
// which may be a minute long, is left out.
func (s *summer) begin(start int) *Water {
	last := max(start-1, 0)
	if first := s.back(last, endS); s.moving(first, last) {
		return s.water(first, last)
	}
	return s.water(start, s.forward(start, endS))
}

// end looks at the last moments of a run, but for the interval in which the stop
// fell, and at the pause after it. A run of two intervals shows no end.
func (s *summer) end(run *Run, r operation.Run) {
	run.EndedInHotWater = s.lastKind(r) == operation.HotWater
	run.End = &Water{}
	if last := r.Last - 1; last > r.First+1 {
		run.End = s.water(max(s.back(last, endS), r.First), last)
		if settled := max(s.back(last, outputS), s.cut(r.First, rampS)); settled < last {
			run.End.HeatW = rounded(s.meanOver(s.t.HeatW, settled, last) * s.heat.factor)
		}
		if !run.EndedInHotWater {
			run.End.TargetC = rounded(s.meanOver(s.targetC, max(s.back(last, outputS), r.First), last))
		}
	}
	for i := r.Last; i < s.t.Len() && run.AfterS < MaxAfterS; i++ {
		if state := s.op.State[i]; state != operation.Off && state != operation.Circulating {
			break
		} else if state == operation.Circulating {
			run.PumpedAfterS += s.t.DurS[i]
		}
		run.AfterS += s.t.DurS[i]
	}
}

// lastKind is what the run did in the end, defrosts aside.
func (s *summer) lastKind(r operation.Run) operation.State {
	for i := r.Last - 1; i >= r.First; i-- {
		if state := s.op.State[i]; state == operation.Heating || state == operation.HotWater {
			return state
		}
	}
	return operation.Heating
}

// water is the mean over intervals first <= i < last.
func (s *summer) water(first, last int) *Water {
	return &Water{
		FlowC: rounded(s.meanOver(s.t.FlowC, first, last)), ReturnC: rounded(s.meanOver(s.t.ReturnC, first, last)),
		FlowLPH: rounded(s.meanOver(s.t.FlowLPH, first, last)),
	}
}

// moving says whether water was seen to circulate all the time.
func (s *summer) moving(first, last int) bool {
	for i := first; i < last; i++ {
		if !(trace.At(s.t.FlowLPH, i) > minMovingLPH) {
			return false
		}
	}
	return first < last
}

// back returns the first interval of those that make up a time before i, at
// least one where there is one.
func (s *summer) back(i int, lengthS float64) int {
	first := max(i-1, 0)
	for first > 0 && float64(s.t.EdgeMS[i]-s.t.EdgeMS[first-1])/1000 <= lengthS {
		first--
	}
	return first
}

// forward returns the end of the intervals that make up a time from i on, at
// least one where there is one.
func (s *summer) forward(i int, lengthS float64) int {
	last := min(i+1, s.t.Len())
	for last < s.t.Len() && float64(s.t.EdgeMS[last+1]-s.t.EdgeMS[i])/1000 <= lengthS {
		last++
	}
	return last
}

// meanOver is the mean over what is known of intervals first <= i < last, NaN
// when nothing is.
func (s *summer) meanOver(column []float64, first, last int) float64 {
	var m Mean
	for i := first; i < last && column != nil; i++ {
		if !math.IsNaN(column[i]) {
			m = m.Plus(Mean{ValueS: column[i] * s.t.DurS[i], S: s.t.DurS[i]})
		}
	}
	if mean, ok := m.Of(); ok {
		return mean
	}
	return math.NaN()
}

// rounded keeps stored days short: no sensor tells thousandths. NaN is nil.
func rounded(value float64) *float64 {
	if math.IsNaN(value) {
		return nil
	}
	short := math.Round(value*1000) / 1000
	return &short
}

// minGapS leaves out what is too short to hide a run or a pause.
const minGapS = 60

// gaps lists the times in which it is not known whether the compressor ran.
func (s *summer) gaps() {
	for first := s.first; first < s.last; {
		last := first
		for last < s.last && s.op.State[last] == operation.Unknown {
			last++
		}
		if s.t.EdgeMS[last]-s.t.EdgeMS[first] >= minGapS*1000 {
			s.sums.Gaps = append(s.sums.Gaps, Gap{From: s.start(first), To: s.start(last)})
		}
		first = last + 1
	}
}

const (
	humidityBinPct = 10
	humidityBins   = 100 / humidityBinPct
	// frostBelowC: no frost forms on a coil in warmer air. The frosting map of
	// Zhu 2015 ends at 6 °C; sensors stand in the sun.
	frostBelowC = 8
)

// humidity adds up running time in air in which frost can form.
func (s *summer) humidity() {
	s.sums.Humidity = NewHistogram(humidityBinPct)
	if s.humidityPct == nil || s.t.OutdoorC == nil {
		return
	}
	var runS [humidityBins]float64
	for i := s.first; i < s.last; i++ {
		pct := s.humidityPct[i]
		if s.op.State[i].Running() && s.t.OutdoorC[i] < frostBelowC && pct >= 0 {
			bin := min(int(pct/humidityBinPct), humidityBins-1) // sensors overshoot in fog
			runS[bin] += s.t.DurS[i]
		}
	}
	for bin, seconds := range runS {
		if seconds > 0 {
			s.sums.Humidity.Weight[bin] = seconds
		}
	}
}

// column is a channel's means, nil when the site has no such channel.
func (s *summer) column(q ingest.Quantity) []float64 { return s.t.Mean(ingest.Channel(q)) }

// seconds between two edges.
func (s *summer) seconds(first, last int) float64 {
	return float64(s.t.EdgeMS[last]-s.t.EdgeMS[first]) / 1000
}

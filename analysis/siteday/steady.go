package siteday

import (
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
)

// outputBinWidth is the width of the bins of heat output, in its natural
// logarithm: each is 5 % above the one below, for machines of any size.
const outputBinWidth = 0.05

const secondsPerHour = 3600

// leastOutputW is the least heat output that is sorted into bins.
const leastOutputW = 100

// OutputBinW returns the heat output in the middle of a bin of Sums.Steady.
func OutputBinW(bin int) float64 { return math.Exp((float64(bin) + 0.5) * outputBinWidth) }

// SteadyBin is settled heating at one heat output, so that flows of a pump that
// follows the output can be compared like with like.
type SteadyBin struct {
	S           float64 `json:"s"`
	VolumeL     float64 `json:"volume_l"`     // that flowed
	DifferenceS float64 `json:"difference_s"` // time in which the difference is known
	DiffKS      float64 `json:"diff_k_s"`     // difference by time
}

// FlowLPH is the mean flow rate; NaN without any time.
func (b SteadyBin) FlowLPH() float64 { return b.VolumeL / b.S * secondsPerHour }

func (b SteadyBin) plus(o SteadyBin) SteadyBin {
	return SteadyBin{b.S + o.S, b.VolumeL + o.VolumeL, b.DifferenceS + o.DifferenceS, b.DiffKS + o.DiffKS}
}

// steady sorts heating that has settled by flow, difference and output.
func (s *summer) steady() {
	Settled(s.t.DurS, s.op, s.first, s.last, func(i int) {
		if s.t.FlowLPH == nil || math.IsNaN(s.t.FlowLPH[i]) {
			return
		}
		bin := SteadyBin{S: s.t.DurS[i], VolumeL: s.t.FlowLPH[i] * s.t.DurS[i] / secondsPerHour}
		s.sums.Flow.Add(s.t.FlowLPH[i], s.t.DurS[i])
		if diffK := trace.At(s.t.DifferenceK, i); !math.IsNaN(diffK) {
			s.sums.Difference.Add(diffK, s.t.DurS[i])
			bin.DifferenceS, bin.DiffKS = s.t.DurS[i], diffK*s.t.DurS[i]
		}
		if heatW := trace.At(s.t.HeatW, i); heatW >= leastOutputW {
			k := int(math.Floor(math.Log(heatW) / outputBinWidth))
			s.sums.Steady[k] = s.sums.Steady[k].plus(bin)
		}
	})
}

// Settled calls visit for each interval first <= i < last of heating that has
// gone on for five minutes since a start, a defrost or a changeover.
func Settled(durS []float64, op *operation.Operation, first, last int, visit func(i int)) {
	settledFor(settledS, durS, op, first, last, visit)
}

// settledFor calls visit for each interval first <= i < last of heating that has
// gone on for longer than so many seconds; it looks back before first for that.
func settledFor(seconds float64, durS []float64, op *operation.Operation, first, last int, visit func(i int)) {
	heatingS := 0.0
	for i := first - 1; i >= 0 && op.State[i] == operation.Heating && heatingS <= seconds; i-- {
		heatingS += durS[i]
	}
	for i := first; i < last; i++ {
		if op.State[i] != operation.Heating {
			heatingS = 0
			continue
		}
		heatingS += durS[i]
		if heatingS > seconds {
			visit(i)
		}
	}
}

package operation

import (
	"math"
	"slices"

	"coldweek/analysis/trace"
)

// What came before a moment is looked at over referenceS, if at least
// minReferenceS of it are known (common practice, no source).
const (
	referenceS    = 8 * 60
	minReferenceS = 100
)

// reference answers what power and difference usually were before a moment
// while the compressor ran, from running sums.
type reference struct {
	s, powerWS, diffKS, flowCS []float64 // sums up to each edge
}

func newReference(d *detector) *reference {
	n := len(d.running)
	r := &reference{make([]float64, n+1), make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)}
	for i := range n {
		r.s[i+1], r.powerWS[i+1], r.diffKS[i+1], r.flowCS[i+1] = r.s[i], r.powerWS[i], r.diffKS[i], r.flowCS[i]
		w, k := trace.At(d.t.PowerW, i), d.diffK[i]
		if d.running[i] && !math.IsNaN(w) && !math.IsNaN(k) {
			r.s[i+1] += d.t.DurS[i]
			r.powerWS[i+1] += w * d.t.DurS[i]
			r.diffKS[i+1] += k * d.t.DurS[i]
			r.flowCS[i+1] += d.t.FlowC[i] * d.t.DurS[i]
		}
	}
	return r
}

// powerW is the mean power in running intervals in the time before interval i,
// leaving out the last awayS; NaN when too little is known.
func (r *reference) powerW(d *detector, i int, awayS float64) float64 {
	return r.mean(d, r.powerWS, i, awayS)
}

// differenceK is the same of the difference of flow and return.
func (r *reference) differenceK(d *detector, i int, awayS float64) float64 {
	return r.mean(d, r.diffKS, i, awayS)
}

// flowC is the same of the flow temperature.
func (r *reference) flowC(d *detector, i int) float64 {
	return r.mean(d, r.flowCS, i, 0)
}

func (r *reference) mean(d *detector, sum []float64, i int, awayS float64) float64 {
	endMS := d.t.EdgeMS[i] - int64(awayS*1000)
	first, _ := slices.BinarySearch(d.t.EdgeMS, endMS-referenceS*1000)
	last, _ := slices.BinarySearch(d.t.EdgeMS, endMS)
	if s := r.s[last] - r.s[first]; s >= minReferenceS {
		return (sum[last] - sum[first]) / s
	}
	return math.NaN()
}

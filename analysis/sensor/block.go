package sensor

import (
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// blockMS is the length of the pieces that a trace is looked at in.
const (
	blockMS      = 10 * 60 * 1000
	blocksPerH   = 6
	minMovingLPH = 30 // what a resting flow meter's noise stays below
)

// span is a mean over time and its extremes.
type span struct{ valueS, s, low, high float64 }

func (p *span) add(value, durS float64) {
	if math.IsNaN(value) {
		return
	}
	if p.s == 0 {
		p.low, p.high = value, value
	}
	p.valueS += value * durS
	p.s += durS
	p.low, p.high = min(p.low, value), max(p.high, value)
}

// mean is NaN of nothing.
func (p *span) mean() float64 { return p.valueS / p.s }

// join takes in a later span.
func (p *span) join(o span) {
	switch {
	case o.s == 0:
	case p.s == 0:
		*p = o
	default:
		p.valueS, p.s = p.valueS+o.valueS, p.s+o.s
		p.low, p.high = min(p.low, o.low), max(p.high, o.high)
	}
}

// reach is from the lowest to the highest.
func (p *span) reach() float64 { return p.high - p.low }

// block is ten minutes of a trace.
type block struct {
	// all the time
	powerW, heatW, flowLPH span
	// while the compressor ran
	runFlowLPH, runPowerW, runFlowC, runReturnC span
	runOutputW, runHeatW                        span // by the meter itself, by flow and difference; both known
	heatingOutdoorC                             span // while it heated rooms
	// while water moved
	flowC, returnC span
	givingS        float64 // difference of flow and return clearly above 0
	restingS       float64 // none, or no flow
	runS           float64
}

// What counts as heat given and as none, for a plant of any size.
const givingK, restingK = 1.5, 0.7

// fill cuts the trace into blocks.
func (l *look) fill() {
	t := l.t
	n := t.Len()
	var outputW []float64
	if t.HeatSource == trace.HeatFromFlow {
		outputW = t.Mean(ingest.Channel(ingest.HeatOutput))
	}
	l.blocks = make([]block, (t.EdgeMS[n]-l.fromMS+blockMS-1)/blockMS)
	for i := range n {
		b, durS := &l.blocks[(t.EdgeMS[i]-l.fromMS)/blockMS], t.DurS[i]
		flowC, returnC, lph := trace.At(t.FlowC, i), trace.At(t.ReturnC, i), trace.At(t.FlowLPH, i)
		b.powerW.add(trace.At(t.PowerW, i), durS)
		b.heatW.add(trace.At(t.HeatW, i), durS)
		b.flowLPH.add(lph, durS)
		if l.running(i) {
			l.fillRunning(b, i, trace.At(outputW, i))
		}
		moving := lph > minMovingLPH || t.FlowLPH == nil
		if moving {
			b.flowC.add(flowC, durS)
			b.returnC.add(returnC, durS)
		}
		switch diffK := trace.At(t.DifferenceK, i); {
		case lph == 0 || math.Abs(diffK) < restingK:
			b.restingS += durS
		case moving && diffK > givingK:
			b.givingS += durS
		}
	}
}

// fillRunning adds an interval in which the compressor ran.
func (l *look) fillRunning(b *block, i int, outputW float64) {
	t, durS := l.t, l.t.DurS[i]
	b.runS += durS
	b.runPowerW.add(trace.At(t.PowerW, i), durS)
	b.runFlowC.add(trace.At(t.FlowC, i), durS)
	b.runReturnC.add(trace.At(t.ReturnC, i), durS)
	if l.op.State[i] == operation.Heating {
		b.heatingOutdoorC.add(trace.At(t.OutdoorC, i), durS)
	}
	if lph := trace.At(t.FlowLPH, i); lph > 0 {
		b.runFlowLPH.add(lph, durS)
	}
	if !math.IsNaN(outputW + trace.At(t.HeatW, i)) {
		b.runOutputW.add(outputW, durS)
		b.runHeatW.add(t.HeatW[i], durS)
	}
}

// blockStart is when block k begins.
func (l *look) blockStart(k int) int64 {
	return min(l.fromMS+int64(k)*blockMS, l.t.EdgeMS[l.t.Len()])
}

// means returns a column's mean in each stretch of the trace of a length, of
// its samples, NaN without.
func (l *look) means(c ingest.Column, lengthMS int64) []float64 {
	n := int((l.t.EdgeMS[l.t.Len()] - l.fromMS + lengthMS - 1) / lengthMS)
	sums := make([]float64, n)
	counts := make([]float64, n)
	for i, ms := range c.UnixMS {
		if k := (ms - l.fromMS) / lengthMS; ms >= l.fromMS && k < int64(n) {
			sums[k] += c.Value[i]
			counts[k]++
		}
	}
	for k := range sums {
		sums[k] /= counts[k] // NaN of none
	}
	return sums
}

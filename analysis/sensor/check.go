package sensor

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// Check looks for faults in about a day of readings, which may begin some hours
// before the day and end some hours after. The order of the result is that of
// the readings one cannot trust: the clock first.
func Check(t *trace.Trace, op *operation.Operation, known Known) []Suspicion {
	if t.Len() == 0 {
		return nil
	}
	l := newLook(t, op, known)
	found := l.clock()
	if len(found) > 0 {
		return found // readings in a wrong order say nothing of sensors
	}
	units := l.units()
	found = append(found, units...)
	found = append(found, l.stuck()...)
	found = append(found, l.outdoor()...)
	found = append(found, l.spikes()...)
	if concerns(found, ingest.FlowTemp, ingest.ReturnTemp) {
		return found // their difference says nothing either
	}
	if s, ok := l.swapped(); ok {
		return append(found, s)
	}
	if s, ok := l.pairOffset(); ok && !concerns(found, ingest.FlowRate, ingest.Power) {
		found = append(found, s)
	}
	return found
}

// concerns says whether a channel of one of the quantities is suspected.
func concerns(found []Suspicion, quantities ...ingest.Quantity) bool {
	return slices.ContainsFunc(found, func(s Suspicion) bool {
		return slices.ContainsFunc(s.Channels, func(ch ingest.Channel) bool {
			return slices.Contains(quantities, ch.Quantity())
		})
	})
}

// look is a trace with what the checks share.
type look struct {
	t      *trace.Trace
	op     *operation.Operation
	known  Known
	byOp   bool    // the operation knows when the compressor ran
	cutW   float64 // else it did above this power
	fromMS int64
	blocks []block

	// flowFactor is what flow rates must be multiplied by in some of the blocks.
	flowFactor float64
	misread    stretch
}

// A compressor takes leastRunningW and more, and runningShare of its highest
// power (common practice, no source).
const leastRunningW, runningShare = 150, 0.35

func newLook(t *trace.Trace, op *operation.Operation, known Known) *look {
	_, bySpeed := t.Column(ingest.Channel(ingest.CompressorSpeed))
	l := &look{t: t, op: op, known: known, byOp: bySpeed || op.Levels.Known(), fromMS: t.EdgeMS[0], flowFactor: 1}
	// What is wrong with temperatures or flow hides the runs from the operation,
	// which wants to see heat. Power alone shows them too.
	l.cutW = max(leastRunningW, runningShare*highest(t.PowerW))
	l.fill()
	return l
}

// highest returns the 95th percentile of the known values, from a few hundred
// of them; NaN of none.
func highest(values []float64) float64 {
	var sample [512]float64
	n, step := 0, len(values)/len(sample)+1
	for i := 0; i < len(values); i += step {
		if v := values[i]; !math.IsNaN(v) {
			sample[n] = v
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(sample[:n])
	return sample[n*95/100]
}

// running says whether the compressor ran in interval i.
func (l *look) running(i int) bool {
	if l.byOp {
		return l.op.State[i].Running()
	}
	return trace.At(l.t.PowerW, i) > l.cutW
}

func utc(ms int64) time.Time { return time.UnixMilli(ms).UTC() }

// seconds between two edges.
func (l *look) seconds(first, last int) float64 {
	return float64(l.t.EdgeMS[last]-l.t.EdgeMS[first]) / 1000
}

// column of a quantity without a place; one without samples when there is none.
func (l *look) column(q ingest.Quantity) ingest.Column {
	c, _ := l.t.Column(ingest.Channel(q))
	return c
}

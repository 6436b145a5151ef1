// Package trace puts one site's readings on one clock.
//
// A Trace cuts a span of time into intervals at the moments the plant was
// sampled and gives each channel's mean over each interval, so that every
// later sum is simply mean x duration. Between two samples a channel runs
// straight or holds its value, as its quantity does (ingest.Between). Two
// samples further apart than the channel's own gap limit say nothing about
// the time between them: those intervals are NaN, and nothing is filled in.
//
// Heat is V·rho(T at the meter)·(h(flow) - h(return)), signed: a defrost draws
// heat and counts negative.
package trace

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/fluid"
	"coldweek/ingest"
)

// Source says where the heat of a trace comes from.
type Source string

// The sources of heat, best first.
const (
	NoHeat             Source = ""
	HeatFromRegister   Source = "heat_register"
	HeatFromFlow       Source = "integrated"
	HeatFromHeatOutput Source = "heat_output"
)

// Options say how readings of one site are to be understood.
type Options struct {
	Fluid *fluid.Fluid   // water when nil
	Meter fluid.Position // the pipe that holds the flow sensor
	// PairOffsetK is what the flow sensor shows above the return sensor when
	// both are equally warm; it is taken off the difference.
	PairOffsetK float64
	// MaxGap overrides a channel's own gap limit.
	MaxGap map[ingest.Channel]time.Duration
	// Marks are moments at which an interval must end, such as midnights.
	Marks []time.Time
}

// Trace is a span of time in Len intervals. Slices of floats have one value an
// interval, NaN where it is not known, or are nil when the site has no such
// channel.
type Trace struct {
	EdgeMS []int64   // Len+1 edges, ascending, Unix ms
	DurS   []float64 // seconds

	FlowC, ReturnC, OutdoorC []float64
	DifferenceK              []float64 // flow minus return, the pair's offset taken off
	FlowLPH                  []float64
	PowerW                   []float64
	HeatW                    []float64 // signed
	HeatSource               Source
	PowerFromRegister        bool // PowerW is the slope of the electricity register

	columns map[ingest.Channel]ingest.Column
	means   map[ingest.Channel][]float64
	opt     Options
}

// Build makes a trace of from <= time < to. Columns must be sorted; samples
// outside the span bound the intervals at its ends, so give some.
func Build(columns []ingest.Column, from, to time.Time, opt Options) *Trace {
	if opt.Fluid == nil {
		opt.Fluid = fluid.Water()
	}
	t := &Trace{
		columns: make(map[ingest.Channel]ingest.Column, len(columns)),
		means:   make(map[ingest.Channel][]float64, len(columns)),
		opt:     opt,
	}
	for _, c := range columns {
		if c.Len() > 0 {
			t.columns[c.Channel] = c
		}
	}
	t.EdgeMS = edges(t.columns, from.UnixMilli(), to.UnixMilli(), opt.Marks)
	t.cutAtCrossings()
	t.DurS = make([]float64, max(len(t.EdgeMS)-1, 0))
	for i := range t.DurS {
		t.DurS[i] = float64(t.EdgeMS[i+1]-t.EdgeMS[i]) / 1000
	}
	t.FlowC = t.Mean(ingest.Channel(ingest.FlowTemp))
	t.ReturnC = t.Mean(ingest.Channel(ingest.ReturnTemp))
	t.OutdoorC = t.Mean(ingest.Channel(ingest.OutdoorTemp))
	t.DifferenceK = t.difference()
	t.FlowLPH = t.Mean(ingest.Channel(ingest.FlowRate))
	t.fillPower()
	t.fillHeat()
	return t
}

// Len returns the number of intervals.
func (t *Trace) Len() int { return len(t.DurS) }

// Column returns the readings behind a channel.
func (t *Trace) Column(ch ingest.Channel) (ingest.Column, bool) {
	c, ok := t.columns[ch]
	return c, ok
}

// Channels returns the channels of a quantity, sorted.
func (t *Trace) Channels(q ingest.Quantity) []ingest.Channel {
	var found []ingest.Channel
	for ch := range t.columns {
		if ch.Quantity() == q {
			found = append(found, ch)
		}
	}
	slices.Sort(found)
	return found
}

// Mean returns the channel's mean over each interval, or nil when the site has
// no such channel. The slice is the trace's own: do not write to it.
func (t *Trace) Mean(ch ingest.Channel) []float64 {
	if m, ok := t.means[ch]; ok {
		return m
	}
	c, ok := t.columns[ch]
	if !ok {
		return nil
	}
	m := intervalMeans(c, ch.Quantity().Between(), t.maxGapMS(c), t.EdgeMS)
	t.means[ch] = m
	return m
}

// At returns a value of a column that may be nil; NaN when it is.
func At(column []float64, i int) float64 {
	if column == nil {
		return math.NaN()
	}
	return column[i]
}

// Covered says whether both heat and electricity are known in interval i.
func (t *Trace) Covered(i int) bool {
	return t.HeatW != nil && t.PowerW != nil && !math.IsNaN(t.HeatW[i]) && !math.IsNaN(t.PowerW[i])
}

// Index returns the first interval that begins at or after the time.
func (t *Trace) Index(at time.Time) int {
	i, _ := slices.BinarySearch(t.EdgeMS, at.UnixMilli())
	return min(i, t.Len())
}

// Start returns when interval i begins; Start(Len()) is the end of the trace.
func (t *Trace) Start(i int) time.Time { return time.UnixMilli(t.EdgeMS[i]) }

// cutAtCrossings ends intervals where flow and return are equally warm.
func (t *Trace) cutAtCrossings() {
	flow, ok := t.columns[ingest.Channel(ingest.FlowTemp)]
	ret, both := t.columns[ingest.Channel(ingest.ReturnTemp)]
	if ok && both {
		t.EdgeMS = crossings(t.EdgeMS, flow, ret, min(t.maxGapMS(flow), t.maxGapMS(ret)))
	}
}

func (t *Trace) difference() []float64 {
	if t.FlowC == nil || t.ReturnC == nil {
		return nil
	}
	diffK := make([]float64, t.Len())
	for i := range diffK {
		diffK[i] = t.FlowC[i] - t.ReturnC[i] - t.opt.PairOffsetK
	}
	return diffK
}

func (t *Trace) fillPower() {
	if t.PowerW = t.Mean(ingest.Channel(ingest.Power)); t.PowerW != nil {
		return
	}
	if c, ok := t.columns[ingest.Channel(ingest.ElectricityRegister)]; ok {
		t.PowerW = registerSlopeW(c, t.EdgeMS)
		t.PowerFromRegister = true
	}
}

// fillHeat takes the difference of flow and return first, since it shows
// defrosts, and what the meter calls its output where that is missing.
func (t *Trace) fillHeat() {
	output := t.Mean(ingest.Channel(ingest.HeatOutput))
	switch {
	case t.FlowC != nil && t.ReturnC != nil && t.FlowLPH != nil:
		t.HeatW = t.heatFromFlow()
		t.HeatSource = HeatFromFlow
		for i, w := range output {
			if math.IsNaN(t.HeatW[i]) {
				t.HeatW[i] = w
			}
		}
	case output != nil:
		t.HeatW, t.HeatSource = slices.Clone(output), HeatFromHeatOutput
	default:
		if c, ok := t.columns[ingest.Channel(ingest.HeatRegister)]; ok {
			t.HeatW, t.HeatSource = registerSlopeW(c, t.EdgeMS), HeatFromRegister
		}
	}
}

func (t *Trace) heatFromFlow() []float64 {
	heatW := make([]float64, t.Len())
	for i := range heatW {
		if t.FlowLPH[i] == 0 {
			continue // no flow carries no heat, whatever the sensors say
		}
		heatW[i] = t.opt.Fluid.HeatPowerW(t.FlowLPH[i], t.FlowC[i]-t.opt.PairOffsetK, t.ReturnC[i], t.opt.Meter)
	}
	return heatW
}

// Package operation says what the plant was doing at every moment of a trace:
// off, circulating, heating, making hot water or defrosting, and whether a
// backup heater helped. It needs flow and return temperature, flow rate and
// electrical power, and uses mode, compressor speed and cylinder temperature
// when they are there.
//
// It is opinionated: thresholds are learned from the site's own levels, a
// defrost inside a run is no stop, and what cannot be known is Unknown.
package operation

import (
	"math"
	"time"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// State is what the plant did during one interval.
type State uint8

// The states. Circulating is water moving with the compressor off.
const (
	Unknown State = iota
	Off
	Circulating
	Heating
	HotWater
	Defrost
	States // how many there are
)

var stateNames = [States]string{"unknown", "off", "circulating", "heating", "hot_water", "defrost"}

// String returns the state's name as used in JSON.
func (s State) String() string { return stateNames[min(s, States-1)] }

// Running says whether the compressor runs in this state.
func (s State) Running() bool { return s == Heating || s == HotWater || s == Defrost }

// Run is the compressor running without a stop, over intervals
// First <= i < Last of the trace.
type Run struct {
	First, Last        int
	StartSeen, EndSeen bool // the plant was seen not running before, after
}

// Defrosting is one defrost, over intervals First <= i < Last, with the times
// between which it lasted: finer than the intervals where the data allow.
type Defrosting struct {
	First, Last int
	From, To    time.Time
	HotGas      bool // no heat was drawn from the water
}

// HotWaterRun is one charging of the cylinder; a defrost in it is part of it.
type HotWaterRun struct{ First, Last int }

// Operation is what the plant did over a whole trace. State and Backup have
// one element an interval.
type Operation struct {
	State    []State
	Backup   []bool
	Runs     []Run
	Defrosts []Defrosting
	HotWater []HotWaterRun
	Levels   Levels
}

// Detect finds the states of a trace.
func Detect(t *trace.Trace) *Operation {
	d := newDetector(t)
	d.findRunning()
	d.findDefrosts()
	d.joinRuns()
	d.findHotWater()
	d.findIdle()
	d.findBackup()
	return d.op
}

// detector carries what the steps share: the columns they read and the result.
type detector struct {
	t       *trace.Trace
	op      *Operation
	mode    []float64 // NaN where not known, nil without the channel
	speedHz []float64
	diffK   []float64 // flow minus return, NaN where not known
	running []bool
	earlier *reference // see before
}

func newDetector(t *trace.Trace) *detector {
	n := t.Len()
	d := &detector{
		t:       t,
		op:      &Operation{State: make([]State, n), Backup: make([]bool, n)},
		mode:    t.Mean(ingest.Channel(ingest.ModeQuantity)),
		speedHz: t.Mean(ingest.Channel(ingest.CompressorSpeed)),
		running: make([]bool, n),
		diffK:   t.DifferenceK,
	}
	if d.diffK == nil {
		d.diffK = unknown(n)
	}
	return d
}

// unknown is a column of which nothing is known.
func unknown(n int) []float64 {
	column := make([]float64, n)
	for i := range column {
		column[i] = math.NaN()
	}
	return column
}

// known says whether the plant can be told running from not running at all.
func (d *detector) known(i int) bool {
	return (d.t.PowerW != nil && !math.IsNaN(d.t.PowerW[i])) || trace.At(d.speedHz, i) >= 0
}

// modeAt returns the mode during interval i when it was one and the same.
func (d *detector) modeAt(i int) (ingest.Mode, bool) {
	m := trace.At(d.mode, i)
	if math.IsNaN(m) || m != math.Trunc(m) {
		return 0, false
	}
	return ingest.Mode(m), true
}

// seconds returns the length of intervals first <= i < last.
func (d *detector) seconds(first, last int) float64 {
	return float64(d.t.EdgeMS[last]-d.t.EdgeMS[first]) / 1000
}

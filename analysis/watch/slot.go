package watch

import (
	"math"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// SlotLength of a slot; slots begin at whole multiples of it in UTC.
const SlotLength = 5 * time.Minute

// Slot is five minutes of a plant: what rules on minutes need. Means are over the
// time in which the value is known.
type Slot struct {
	From     time.Time
	SecondsS siteday.ByState // by what the plant did; the time not known is Unknown
	Took     siteday.Stretch // time with heat and power known
	BackupJ  float64
	BackupS  float64 // with the backup heater on

	Outdoor, Cylinder siteday.Mean
	Flow, Return      siteday.Mean // temperatures, whatever the plant did
	FlowRate          siteday.Mean // l/h, whatever the plant did
	Rooms             map[string]siteday.Mean

	// Settled is heating that has gone on for five minutes.
	Settled Settled
}

// Settled is the part of a slot in which heating had gone on for five minutes
// since a start, a defrost or a changeover.
type Settled struct {
	S                    float64
	FlowRate             siteday.Mean // l/h
	Difference           siteday.Mean // K
	Flow, Target, Return siteday.Mean // °C
	Took                 siteday.Stretch
}

// To is when the slot ends.
func (s *Slot) To() time.Time { return s.From.Add(SlotLength) }

// KnownS is the time in which it was known whether the compressor ran.
func (s *Slot) KnownS() float64 { return s.SecondsS.Total() - s.SecondsS[operation.Unknown] }

// RunS is the time the compressor ran, defrosts included.
func (s *Slot) RunS() float64 {
	return s.SecondsS[operation.Heating] + s.SecondsS[operation.HotWater] + s.SecondsS[operation.Defrost]
}

// Observe cuts from <= time < to, both whole multiples of SlotLength, into slots.
// The trace and the operation should begin some hours before, and end later.
func Observe(t *trace.Trace, op *operation.Operation, from, to time.Time) []Slot {
	o := newObserver(t, op, from, to)
	first, last := t.Index(from), t.Index(to)
	if first > 0 && t.Start(first).After(from) {
		first--
	}
	for i := first; i < last; i++ {
		o.interval(i)
	}
	return o.slots
}

// observer adds intervals to slots.
type observer struct {
	t        *trace.Trace
	op       *operation.Operation
	from, to int64 // ms
	slots    []Slot
	settled  []bool

	cylinderC, targetC, backupW []float64
	rooms                       map[string][]float64
}

func newObserver(t *trace.Trace, op *operation.Operation, from, to time.Time) *observer {
	o := &observer{
		t: t, op: op, from: from.UnixMilli(), to: to.UnixMilli(), settled: make([]bool, t.Len()),
		targetC: t.Mean(ingest.Channel(ingest.FlowTarget)), backupW: t.Mean(ingest.Channel(ingest.BackupPower)),
		rooms: map[string][]float64{},
	}
	for _, ch := range t.Channels(ingest.CylinderTemp) {
		if o.cylinderC == nil {
			o.cylinderC = t.Mean(ch)
		}
	}
	for _, ch := range t.Channels(ingest.RoomTemp) {
		o.rooms[ch.Place()] = t.Mean(ch)
	}
	siteday.Settled(t.DurS, op, 0, t.Len(), func(i int) { o.settled[i] = true })
	for at := from; at.Before(to); at = at.Add(SlotLength) {
		s := Slot{From: at.UTC()}
		if len(o.rooms) > 0 {
			s.Rooms = make(map[string]siteday.Mean, len(o.rooms))
		}
		o.slots = append(o.slots, s)
	}
	return o
}

// interval gives each slot its part of an interval.
func (o *observer) interval(i int) {
	from, to := max(o.t.EdgeMS[i], o.from), min(o.t.EdgeMS[i+1], o.to)
	for from < to {
		k := (from - o.from) / SlotLength.Milliseconds()
		end := min(to, o.from+(k+1)*SlotLength.Milliseconds())
		o.add(&o.slots[k], i, float64(end-from)/1000)
		from = end
	}
}

func (o *observer) add(s *Slot, i int, durS float64) {
	s.SecondsS[o.op.State[i]] += durS
	count(&s.Outdoor, o.t.OutdoorC, i, durS)
	count(&s.Cylinder, o.cylinderC, i, durS)
	count(&s.Flow, o.t.FlowC, i, durS)
	count(&s.Return, o.t.ReturnC, i, durS)
	count(&s.FlowRate, o.t.FlowLPH, i, durS)
	for place, column := range o.rooms {
		m := s.Rooms[place]
		count(&m, column, i, durS)
		s.Rooms[place] = m
	}
	if w := trace.At(o.backupW, i); w > 0 {
		s.BackupJ += w * durS
	}
	if o.op.Backup[i] {
		s.BackupS += durS
	}
	took := siteday.Stretch{}
	if o.t.Covered(i) {
		took = siteday.Stretch{S: durS, HeatJ: o.t.HeatW[i] * durS, ElectricityJ: o.t.PowerW[i] * durS}
		s.Took = s.Took.Plus(took)
	}
	if o.settled[i] {
		o.addSettled(&s.Settled, i, durS, took)
	}
}

func (o *observer) addSettled(s *Settled, i int, durS float64, took siteday.Stretch) {
	s.S += durS
	s.Took = s.Took.Plus(took)
	count(&s.FlowRate, o.t.FlowLPH, i, durS)
	count(&s.Difference, o.t.DifferenceK, i, durS)
	count(&s.Flow, o.t.FlowC, i, durS)
	count(&s.Return, o.t.ReturnC, i, durS)
	count(&s.Target, o.targetC, i, durS)
}

// count adds interval i of a column, which may be nil.
func count(m *siteday.Mean, column []float64, i int, durS float64) {
	if column != nil && !math.IsNaN(column[i]) {
		m.ValueS += column[i] * durS
		m.S += durS
	}
}

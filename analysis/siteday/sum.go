package siteday

import (
	"math"
	"time"

	"coldweek/analysis/metrology"
	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	flowBinLPH     = 5
	differenceBinK = 0.1
	// settledS is how long after a start, a defrost or a changeover heating
	// counts as steady (common practice, no source).
	settledS = 5 * 60
)

// Sum computes the day from <= time < to. The trace and the operation may
// reach beyond it on both sides, and should by some hours, so that what
// crosses midnight is seen whole; from and to must be edges of the trace.
func Sum(t *trace.Trace, op *operation.Operation, date string, from, to time.Time) Day {
	s := summer{
		t: t, op: op, first: t.Index(from), last: t.Index(to),
		day: Day{Date: date, From: from, To: to},
	}
	s.sums = &s.day.Sums
	s.humidityPct, s.targetC, s.backupW = s.column(ingest.OutdoorHumidity), s.column(ingest.FlowTarget), s.column(ingest.BackupPower)
	s.sums.SpanS = to.Sub(from).Seconds()
	s.sums.Flow, s.sums.Difference = NewHistogram(flowBinLPH), NewHistogram(differenceBinK)
	s.sums.Steady = map[int]SteadyBin{}
	s.calibrate()
	s.states()
	s.backup()
	s.pump()
	s.means()
	s.steady()
	s.hours()
	s.humidity()
	s.episodes()
	s.gaps()
	return s.day
}

type summer struct {
	t           *trace.Trace
	op          *operation.Operation
	first, last int
	day         Day
	sums        *Sums

	heat, electricity             scaling
	humidityPct, targetC, backupW []float64
}

// calibrate scales energies to the meters' registers where those are there.
func (s *summer) calibrate() {
	heat := s.t.Calibrate(ingest.Channel(ingest.HeatRegister), s.t.HeatW, s.first, s.last)
	electricity := s.t.Calibrate(ingest.Channel(ingest.ElectricityRegister), s.t.PowerW, s.first, s.last)
	s.heat = use(heat, &s.sums.HeatRegister, s.t.HeatSource == trace.HeatFromRegister)
	s.electricity = use(electricity, &s.sums.ElectricityRegister, s.t.PowerFromRegister)
}

// scaling is what an integral is multiplied by to agree with its register.
type scaling struct {
	factor float64
	used   bool // the register was good enough; else the factor is 1
}

// use takes a register's word over the integral, unless the integral is made of
// the register.
func use(c trace.Calibration, r *Register, isSource bool) scaling {
	r.Resets = c.Resets
	if isSource || !c.Usable {
		return scaling{factor: 1}
	}
	r.RiseKWh, r.IntegralKWh = c.RiseKWh, c.IntegralKWh
	return scaling{factor: c.Factor, used: true}
}

// states adds up each interval under what the plant did in it.
func (s *summer) states() {
	outdoor, flow := newBinner(s.t.OutdoorC, s.last), newBinner(s.t.FlowC, s.last)
	for i := s.first; i < s.last; i++ {
		state, part := s.op.State[i], s.interval(i)
		s.sums.SecondsS[state] += part.durS
		if part.covered {
			s.sums.CoveredS += part.durS
			s.sums.HeatJ[state] += part.heatJ
			s.sums.ElectricityJ[state] += part.electricityJ
			if part.idealKnown {
				s.sums.IdealJ[state] += part.idealJ
				s.sums.IdealCoveredJ[state] += part.electricityJ
			}
			if state == operation.Defrost {
				s.sums.DrawnJ += max(-part.heatJ, 0)
			}
			if state.Running() {
				s.sums.HeatDoubt.Count(part.heatJ, trace.At(s.t.FlowLPH, i), trace.At(s.t.DifferenceK, i), part.durS)
			}
		}
		outdoor.add(i, state, part)
		if state.Running() {
			flow.add(i, state, part)
		}
	}
	s.sums.Bins, s.sums.FlowBins = outdoor.bins(), flow.bins()
	s.sampling()
	if s.heat.used {
		s.sums.HeatRegister.UsedS = s.sums.CoveredS
	}
	if s.electricity.used {
		s.sums.ElectricityRegister.UsedS = s.sums.CoveredS
	}
}

// part is what one interval adds.
type part struct {
	durS                float64
	covered, idealKnown bool
	heatJ, electricityJ float64
	idealJ              float64
	backupJ             float64 // of the electricity; 0 too where it is not known
}

func (s *summer) interval(i int) part {
	p := part{durS: s.t.DurS[i], covered: s.t.Covered(i)}
	if !p.covered {
		return p
	}
	p.heatJ, p.electricityJ = s.energies(i)
	// Carnot's work for heat at the flow temperature from the outdoor air.
	p.idealJ = p.heatJ * (trace.At(s.t.FlowC, i) - trace.At(s.t.OutdoorC, i)) / (trace.At(s.t.FlowC, i) + kelvinAt0C)
	p.idealKnown = !math.IsNaN(p.idealJ)
	if w := trace.At(s.backupW, i); w > 0 {
		p.backupJ = w * p.durS
	}
	return p
}

// kelvinAt0C is the thermodynamic temperature of 0 °C (exact).
const kelvinAt0C = 273.15

// energies of a covered interval, scaled to the registers.
func (s *summer) energies(i int) (heatJ, electricityJ float64) {
	return s.t.HeatW[i] * s.t.DurS[i] * s.heat.factor, s.t.PowerW[i] * s.t.DurS[i] * s.electricity.factor
}

// sampling estimates what lies between the readings.
func (s *summer) sampling() {
	if s.t.HeatW == nil || s.t.PowerW == nil || s.first == s.last {
		return
	}
	durS := s.t.DurS[s.first:s.last]
	if !s.heat.used {
		s.sums.HeatVarianceJSq = metrology.SamplingVarianceJSq(s.t.HeatW[s.first:s.last], durS)
	}
	if !s.electricity.used {
		s.sums.ElectricityVarianceJSq = metrology.SamplingVarianceJSq(s.t.PowerW[s.first:s.last], durS)
	}
}

func (s *summer) backup() {
	for i := s.first; i < s.last && s.backupW != nil; i++ {
		if math.IsNaN(s.backupW[i]) || !s.t.Covered(i) {
			continue
		}
		s.sums.BackupKnownS += s.t.DurS[i]
		s.sums.BackupJ += max(s.backupW[i], 0) * s.t.DurS[i]
		s.sums.BackupInJ[s.op.State[i]] += max(s.backupW[i], 0) * s.t.DurS[i]
		if s.op.Backup[i] {
			s.sums.BackupS += s.t.DurS[i]
		}
	}
}

func (s *summer) means() {
	s.sums.Outdoor = s.mean(s.t.OutdoorC)
	s.cylinder()
	for _, ch := range s.t.Channels(ingest.RoomTemp) {
		if s.sums.Rooms == nil {
			s.sums.Rooms, s.sums.RoomTemps = map[string]Mean{}, map[string]Histogram{}
		}
		s.sums.Rooms[ch.Place()] = s.mean(s.t.Mean(ch))
		s.sums.RoomTemps[ch.Place()] = s.spread(s.t.Mean(ch))
	}
}

func (s *summer) cylinder() {
	sensors := s.t.Channels(ingest.CylinderTemp)
	if len(sensors) == 0 {
		return
	}
	column := s.t.Mean(sensors[0])
	s.sums.Cylinder = s.mean(column)
	for _, c := range column[s.first:s.last] {
		if high := s.sums.CylinderHighC; !math.IsNaN(c) && (high == nil || c > *high) {
			s.sums.CylinderHighC = new(c)
		}
	}
}

// spread sorts a room's temperatures.
func (s *summer) spread(column []float64) Histogram {
	h := NewHistogram(roomBinK)
	for i := s.first; i < s.last; i++ {
		if c := column[i]; c >= lowestBinC && c < highestBinC {
			h.Add(c, s.t.DurS[i])
		}
	}
	return h
}

func (s *summer) mean(column []float64) Mean {
	var m Mean
	for i := s.first; i < s.last && column != nil; i++ {
		if !math.IsNaN(column[i]) {
			m.ValueS += column[i] * s.t.DurS[i]
			m.S += s.t.DurS[i]
		}
	}
	return m
}

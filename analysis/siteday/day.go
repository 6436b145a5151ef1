// Package siteday sums what a plant did in one local day so that every longer
// period is a sum of days: energies and seconds by operating state, by 1 K of
// outdoor temperature, histograms, and the lists of runs, defrosts and
// hot-water runs with what their surroundings showed.
//
// Everything in Sums adds; means, shares and quantiles are computed from sums
// and never averaged. Heat and electricity share one mask: an interval counts
// in both or in neither.
package siteday

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"time"

	"coldweek/analysis/metrology"
	"coldweek/analysis/operation"
)

// Definition is the version of what a day holds. Stored days of another
// definition are computed again.
const Definition = 12

// Day is one local calendar day of a site.
type Day struct {
	Date     string    `json:"date"` // YYYY-MM-DD
	From     time.Time `json:"from"`
	To       time.Time `json:"to"` // exclusive; 23 or 25 hours on when clocks change
	Sums     Sums      `json:"sums"`
	Warnings []Warning `json:"warnings,omitempty"`
}

// In has all times of the day in a zone; they stay the same instants.
func (d *Day) In(zone *time.Location) {
	in := func(times ...*time.Time) {
		for _, t := range times {
			*t = t.In(zone)
		}
	}
	in(&d.From, &d.To)
	s := &d.Sums
	for i := range s.Hours {
		in(&s.Hours[i].From)
	}
	for i := range s.Runs {
		in(&s.Runs[i].From, &s.Runs[i].To)
	}
	for i := range s.Defrosts {
		in(&s.Defrosts[i].From, &s.Defrosts[i].To)
	}
	for i := range s.HotWater {
		in(&s.HotWater[i].From, &s.HotWater[i].To)
	}
	for i := range s.Gaps {
		in(&s.Gaps[i].From, &s.Gaps[i].To)
	}
}

// Warning is a doubt about a day's figures.
type Warning struct {
	Kind   string `json:"kind"`
	Detail string `json:"detail"`
}

// ByState has one sum for each operating state.
type ByState [operation.States]float64

// Total returns the sum over all states.
func (b ByState) Total() float64 {
	total := 0.0
	for _, v := range b {
		total += v
	}
	return total
}

// AppendBinary writes a byte that says which sums are not zero, and those: most are.
func (b ByState) AppendBinary(to []byte) ([]byte, error) {
	mask := len(to)
	to = append(to, 0)
	for i, v := range b {
		if v != 0 {
			to[mask] |= 1 << i
			to = binary.LittleEndian.AppendUint64(to, math.Float64bits(v))
		}
	}
	return to, nil
}

// MarshalBinary is AppendBinary.
func (b ByState) MarshalBinary() ([]byte, error) { return b.AppendBinary(nil) }

// UnmarshalBinary reads what AppendBinary wrote.
func (b *ByState) UnmarshalBinary(from []byte) error {
	*b = ByState{}
	if len(from) == 0 || len(from) != 1+8*bits.OnesCount8(from[0]) || from[0]>>len(b) != 0 {
		return fmt.Errorf("%d bytes are no sums by state", len(from))
	}
	next := from[1:]
	for i := range b {
		if from[0]&(1<<i) != 0 {
			b[i] = math.Float64frombits(binary.LittleEndian.Uint64(next))
			next = next[8:]
		}
	}
	return nil
}

func (b *ByState) add(o ByState) {
	for i, v := range o {
		b[i] += v
	}
}

// Sums are the additive figures of a span of time. Energies count only covered
// intervals, those with heat and electricity both known.
type Sums struct {
	SpanS        float64 `json:"span_s"`    // length of the span
	CoveredS     float64 `json:"covered_s"` // of it with heat and power known
	SecondsS     ByState `json:"seconds_s"`
	HeatJ        ByState `json:"heat_j"` // signed
	ElectricityJ ByState `json:"electricity_j"`
	DrawnJ       float64 `json:"drawn_j"` // taken from the water by defrosts, >= 0
	// IdealJ is the work a Carnot machine between the outdoor and the flow
	// temperature had needed for the same heat; IdealCoveredJ is the
	// electricity of the time in which that is known.
	IdealJ        ByState `json:"ideal_j"`
	IdealCoveredJ ByState `json:"ideal_covered_j"`
	BackupJ       float64 `json:"backup_j"`
	BackupS       float64 `json:"backup_s"`
	BackupKnownS  float64 `json:"backup_known_s"`
	BackupInJ     ByState `json:"backup_in_j"` // BackupJ by what the plant was doing
	Pump          Pump    `json:"pump"`

	// HeatDoubt holds what the error of the heat meter follows from; the
	// variances are those of energies from sampling, 0 where a register counted.
	HeatDoubt              metrology.HeatSums `json:"heat_doubt"`
	HeatVarianceJSq        float64            `json:"heat_variance_j_sq"`
	ElectricityVarianceJSq float64            `json:"electricity_variance_j_sq"`

	Outdoor Mean `json:"outdoor"`
	// Cylinder is where the first of its sensors is; CylinderHighC the highest it was.
	Cylinder      Mean     `json:"cylinder"`
	CylinderHighC *float64 `json:"cylinder_high_c,omitempty"`

	Rooms map[string]Mean `json:"rooms,omitempty"` // by place
	// RoomTemps holds the seconds by room temperature, by place.
	RoomTemps  map[string]Histogram `json:"room_temps,omitempty"`
	Bins       map[int]Bin          `json:"bins,omitempty"`      // by outdoor temperature, floor of °C
	FlowBins   map[int]Bin          `json:"flow_bins,omitempty"` // by flow temperature, floor of °C
	Flow       Histogram            `json:"flow"`                // l/h in steady heating, seconds
	Difference Histogram            `json:"difference"`          // K in steady heating, seconds
	// Humidity holds the seconds the compressor ran in air in which frost can
	// form, by relative humidity in %.
	Humidity Histogram         `json:"humidity"`
	Steady   map[int]SteadyBin `json:"steady,omitempty"` // steady heating by heat output, see OutputBinW

	Hours []Hour `json:"hours,omitempty"`

	Runs     []Run      `json:"runs,omitempty"`
	Defrosts []Defrost  `json:"defrosts,omitempty"`
	HotWater []HotWater `json:"hot_water,omitempty"`
	// Gaps are the times in which it was not known whether the compressor ran.
	Gaps []Gap `json:"gaps,omitempty"`

	HeatRegister        Register `json:"heat_register"`
	ElectricityRegister Register `json:"electricity_register"`
}

// Mean is a mean over time that adds: the integral and its length. Like all that a
// day has many of, it is kept by the order of its fields.
type Mean struct {
	_ struct{} `cbor:",toarray"`

	ValueS float64 `json:"value_s"`
	S      float64 `json:"s"`
}

// Of returns the mean and whether there was any time to take it over.
func (m Mean) Of() (float64, bool) {
	if m.S == 0 {
		return 0, false
	}
	return m.ValueS / m.S, true
}

// Plus is the mean over both times.
func (m Mean) Plus(o Mean) Mean { return Mean{ValueS: m.ValueS + o.ValueS, S: m.S + o.S} }

// Bin is what happened at one outdoor temperature.
type Bin struct {
	_ struct{} `cbor:",toarray"`

	SecondsS     ByState `json:"seconds_s"`
	CoveredS     ByState `json:"covered_s"` // of them with heat and power known
	HeatJ        ByState `json:"heat_j"`
	ElectricityJ ByState `json:"electricity_j"`
	IdealJ       ByState `json:"ideal_j"`
	// IdealCoveredJ is the electricity of the time in which IdealJ is known.
	IdealCoveredJ ByState `json:"ideal_covered_j"`
	BackupJ       ByState `json:"backup_j"` // what its own meter gave to the backup heater
}

// Register compares a meter's register with the integral.
type Register struct {
	RiseKWh     float64 `json:"rise_kwh"`
	IntegralKWh float64 `json:"integral_kwh"`
	Resets      int     `json:"resets"`
	UsedS       float64 `json:"used_s"` // covered seconds whose energy was scaled to the register
}

func (r Register) plus(o Register) Register {
	return Register{r.RiseKWh + o.RiseKWh, r.IntegralKWh + o.IntegralKWh, r.Resets + o.Resets, r.UsedS + o.UsedS}
}

// Run is the compressor running without a stop; a defrost is no stop.
type Run struct {
	_ struct{} `cbor:",toarray"`

	From        time.Time `json:"from"`
	To          time.Time `json:"to"`
	Started     bool      `json:"started"` // it was seen to start
	Stopped     bool      `json:"stopped"` // it was seen to stop
	OpenBefore  bool      `json:"open_before,omitempty"`
	OpenAfter   bool      `json:"open_after,omitempty"`
	HeatingS    float64   `json:"heating_s"`
	HotWaterS   float64   `json:"hot_water_s"`
	MeanOutdoor Mean      `json:"outdoor"`
	Took        Stretch   `json:"took"` // all of it, defrosts included

	Begin           *Water  `json:"begin,omitempty"` // nil unless Started
	End             *Water  `json:"end,omitempty"`   // nil unless Stopped
	EndedInHotWater bool    `json:"ended_in_hot_water,omitempty"`
	AfterS          float64 `json:"after_s,omitempty"` // of the pause after it that was looked at, at most MaxAfterS
	PumpedAfterS    float64 `json:"pumped_after_s,omitempty"`
}

// Water is what the heating water was like when a run began or ended; nil is
// not known.
type Water struct {
	_ struct{} `cbor:",toarray"`

	FlowC   *float64 `json:"flow_c,omitempty"`
	ReturnC *float64 `json:"return_c,omitempty"`
	TargetC *float64 `json:"target_c,omitempty"` // of the flow temperature
	FlowLPH *float64 `json:"flow_lph,omitempty"`
	HeatW   *float64 `json:"heat_w,omitempty"` // output before the stop
}

// Stretch is what a stretch of covered time took and gave.
type Stretch struct {
	_ struct{} `cbor:",toarray"`

	S            float64 `json:"s"`
	HeatJ        float64 `json:"heat_j"` // signed
	ElectricityJ float64 `json:"electricity_j"`
}

// Plus returns both together.
func (a Stretch) Plus(b Stretch) Stretch {
	return Stretch{S: a.S + b.S, HeatJ: a.HeatJ + b.HeatJ, ElectricityJ: a.ElectricityJ + b.ElectricityJ}
}

// Gap is a time of which nothing is known.
type Gap struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// GapWithin says whether anything between two times, both included, is in a
// gap. Gaps are in order of time, as in Sums.
func (s *Sums) GapWithin(from, to time.Time) bool {
	i, _ := slices.BinarySearchFunc(s.Gaps, from, func(g Gap, at time.Time) int { return g.To.Compare(at) })
	return i < len(s.Gaps) && !s.Gaps[i].From.After(to)
}

// Kind says what the run was for: heating, hot_water or mixed.
func (r Run) Kind() string {
	switch {
	case r.HotWaterS == 0:
		return "heating"
	case r.HeatingS == 0:
		return "hot_water"
	}
	return "mixed"
}

// Defrost is one defrost.
type Defrost struct {
	_ struct{} `cbor:",toarray"`

	From         time.Time `json:"from"`
	To           time.Time `json:"to"`
	HotGas       bool      `json:"hot_gas,omitempty"`
	OutdoorC     *float64  `json:"outdoor_c"`
	DrawnJ       float64   `json:"drawn_j"`
	ElectricityJ float64   `json:"electricity_j"`
	OpenBefore   bool      `json:"open_before,omitempty"`
	OpenAfter    bool      `json:"open_after,omitempty"`
	HumidityPct  *float64  `json:"humidity_pct,omitempty"`
	HotWater     bool      `json:"hot_water,omitempty"` // it interrupted a charging of the cylinder

	// Took is the defrost itself. Before and After are settled minutes of the
	// same run and kind around it; Recovery lies between it and After, until
	// output and power are again what they were. They may reach beyond the day.
	Took     Stretch `json:"took"`
	Before   Stretch `json:"before"`
	Recovery Stretch `json:"recovery"`
	After    Stretch `json:"after"`
}

// HotWater is one charging of the cylinder.
type HotWater struct {
	From         time.Time `json:"from"`
	To           time.Time `json:"to"`
	HeatJ        float64   `json:"heat_j"`
	ElectricityJ float64   `json:"electricity_j"`
	PeakFlowC    float64   `json:"peak_flow_c"`
	OpenBefore   bool      `json:"open_before,omitempty"`
	OpenAfter    bool      `json:"open_after,omitempty"`
}

// KnownS is the time in which it was known whether the compressor ran.
func (s *Sums) KnownS() float64 { return s.SecondsS.Total() - s.SecondsS[operation.Unknown] }

// RunS is the time the compressor ran, defrosts included.
func (s *Sums) RunS() float64 {
	return s.SecondsS[operation.Heating] + s.SecondsS[operation.HotWater] + s.SecondsS[operation.Defrost]
}

package siteday

import (
	"math"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// roomBinK is the width of the bins of room temperature.
const roomBinK = 0.1

// steadyS is how long after a start, a defrost or a changeover the flow
// temperature counts as the controller's will (common practice, no source).
const steadyS = 15 * 60

// Hour is one hour of a day, counted from its beginning in elapsed time, so a
// day has 23 to 25 of them. Energies count covered time only.
type Hour struct {
	_ struct{} `cbor:",toarray"`

	From     time.Time `json:"from"`
	S        float64   `json:"s"` // length; less where the day ends early
	CoveredS float64   `json:"covered_s"`

	Outdoor    Mean `json:"outdoor"`
	Room       Mean `json:"room"` // over all rooms
	Irradiance Mean `json:"irradiance"`

	SpaceJ       float64 `json:"space_j"`      // of heating, less what defrosts drew; signed
	CirculatedJ  float64 `json:"circulated_j"` // with the compressor off; signed
	HotWaterJ    float64 `json:"hot_water_j"`
	ElectricityJ float64 `json:"electricity_j"` // all of it
	BackupJ      float64 `json:"backup_j"`
	RunS         float64 `json:"run_s"`
	HotWaterS    float64 `json:"hot_water_s"`
	DefrostS     float64 `json:"defrost_s"`

	Steady SteadyHour `json:"steady"`
}

// SteadyHour is what of an hour was heating that had settled for a quarter of
// an hour since a start, a defrost or a changeover.
type SteadyHour struct {
	_ struct{} `cbor:",toarray"`

	S            float64 `json:"s"`
	CoveredS     float64 `json:"covered_s"`
	HeatJ        float64 `json:"heat_j"`
	ElectricityJ float64 `json:"electricity_j"`
	Outdoor      Mean    `json:"outdoor"`
	Flow         Mean    `json:"flow"`
	Return       Mean    `json:"return"`
	Target       Mean    `json:"target"` // of the flow temperature
}

// hours sums up each hour of the day.
func (s *summer) hours() {
	from := s.day.From
	count := int(math.Ceil(s.day.To.Sub(from).Hours()))
	s.sums.Hours = make([]Hour, count)
	for k := range s.sums.Hours {
		h := &s.sums.Hours[k]
		h.From = from.Add(time.Duration(k) * time.Hour)
		h.S = min(s.day.To.Sub(h.From), time.Hour).Seconds()
	}
	h := hourly{summer: s, irradiance: s.column(ingest.Irradiance), rooms: s.roomColumns()}
	for i := s.first; i < s.last; i++ {
		h.add(s.hourOf(i), i)
	}
	settledFor(steadyS, s.t.DurS, s.op, s.first, s.last, func(i int) { h.addSteady(&s.hourOf(i).Steady, i) })
}

// hourOf returns the hour in which interval i begins; one that ends in the next
// counts with this.
func (s *summer) hourOf(i int) *Hour {
	k := int(time.UnixMilli(s.t.EdgeMS[i]).Sub(s.day.From) / time.Hour)
	return &s.sums.Hours[min(max(k, 0), len(s.sums.Hours)-1)]
}

// hourly adds intervals to hours.
type hourly struct {
	*summer
	irradiance []float64
	rooms      [][]float64
}

func (h *hourly) add(hour *Hour, i int) {
	durS, state := h.t.DurS[i], h.op.State[i]
	hour.Outdoor.count(h.t.OutdoorC, i, durS)
	hour.Irradiance.count(h.irradiance, i, durS)
	for _, room := range h.rooms {
		hour.Room.count(room, i, durS)
	}
	switch {
	case state == operation.HotWater:
		hour.HotWaterS += durS
	case state == operation.Defrost:
		hour.DefrostS += durS
	}
	if state.Running() {
		hour.RunS += durS
	}
	if !h.t.Covered(i) {
		return
	}
	heatJ, electricityJ := h.energies(i)
	hour.CoveredS += durS
	hour.ElectricityJ += electricityJ
	hour.BackupJ += max(0, zeroIfUnknown(trace.At(h.backupW, i))) * durS
	switch state {
	case operation.HotWater:
		hour.HotWaterJ += heatJ
	case operation.Heating, operation.Defrost:
		hour.SpaceJ += heatJ
	default:
		hour.CirculatedJ += heatJ
	}
}

func (h *hourly) addSteady(steady *SteadyHour, i int) {
	durS := h.t.DurS[i]
	steady.S += durS
	steady.Outdoor.count(h.t.OutdoorC, i, durS)
	steady.Flow.count(h.t.FlowC, i, durS)
	steady.Return.count(h.t.ReturnC, i, durS)
	steady.Target.count(h.targetC, i, durS)
	if h.t.Covered(i) {
		heatJ, electricityJ := h.energies(i)
		steady.CoveredS += durS
		steady.HeatJ += heatJ
		steady.ElectricityJ += electricityJ
	}
}

func zeroIfUnknown(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// count adds interval i of a column, which may be nil.
func (m *Mean) count(column []float64, i int, durS float64) {
	if column != nil && !math.IsNaN(column[i]) {
		m.ValueS += column[i] * durS
		m.S += durS
	}
}

func (s *summer) roomColumns() [][]float64 {
	var rooms [][]float64
	for _, ch := range s.t.Channels(ingest.RoomTemp) {
		rooms = append(rooms, s.t.Mean(ch))
	}
	return rooms
}

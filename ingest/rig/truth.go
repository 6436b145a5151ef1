package rig

import "time"

// Truth is what really happened since the start of the rig.
type Truth struct {
	Site        string        `json:"site"`
	TimeZone    string        `json:"time_zone"`
	From        time.Time     `json:"from"`
	To          time.Time     `json:"to"`
	Parameters  Parameters    `json:"parameters"`
	Heat        Heat          `json:"heat"`
	Electricity Electricity   `json:"electricity"`
	Balance     Balance       `json:"balance"`
	Days        []Day         `json:"days"`
	Starts      int           `json:"starts"` // of the compressor
	RunHours    float64       `json:"run_h"`  // of the compressor, defrosts included
	Runs        []Run         `json:"runs"`
	Defrosts    []DefrostRun  `json:"defrosts"`
	HotWater    []HotWaterRun `json:"hot_water_runs"`
	Troubles    []Onset       `json:"troubles"`
}

// Parameters are what analyses estimate.
type Parameters struct {
	HeatLossWPerK     float64      `json:"heat_loss_w_per_k"`
	DesignOutdoorC    float64      `json:"design_outdoor_c"`
	HeatLossAtDesignW float64      `json:"heat_loss_at_design_w"` // from the room set point, no gains
	RoomSetC          float64      `json:"room_set_c"`
	RoomMeanC         float64      `json:"room_mean_c"`
	OutdoorMeanC      float64      `json:"outdoor_mean_c"`
	InternalGainsW    float64      `json:"internal_gains_w"` // mean of a local day
	GainsW            float64      `json:"gains_w"`          // mean so far, sun included
	BaseC             float64      `json:"base_c"`           // outdoor temperature at which the mean gains hold the mean room
	HeatingCurve      []CurvePoint `json:"heating_curve"`
	EmitterExponent   float64      `json:"emitter_exponent"`
	EmitterAt50KW     float64      `json:"emitter_at_50_k_w"`
	CommissionedLPH   float64      `json:"commissioned_flow_lph"`
	HotWaterFlowLPH   float64      `json:"hot_water_flow_lph"`
	PairOffsetK       float64      `json:"pair_offset_k"` // flow minus return when both are equally warm
	RatedHeatW        float64      `json:"rated_heat_w"`
	MinimumHeatW      float64      `json:"minimum_heat_w"`
	CarnotShare       float64      `json:"carnot_share"` // between refrigerant temperatures
	StandbyW          float64      `json:"standby_w"`
	PumpW             float64      `json:"pump_w"`
	LoopL             float64      `json:"loop_l"`
	Covers            []string     `json:"electricity_covers"`
}

// Heat through the flow and return sensors. Circulating is heat (of either
// sign) while neither compressor nor backup heater ran; it is in none of the
// others.
type Heat struct {
	SpaceKWh        float64 `json:"space_kwh"`
	HotWaterKWh     float64 `json:"hot_water_kwh"`
	DefrostDrawnKWh float64 `json:"defrost_drawn_kwh"` // >= 0
	NetKWh          float64 `json:"net_kwh"`           // space + hot water - drawn
	CirculatingKWh  float64 `json:"circulating_kwh"`
}

// Electricity as far as the plant's electricity meter covers it; the splits
// add up to the total.
type Electricity struct {
	TotalKWh     float64 `json:"total_kwh"`
	SpaceKWh     float64 `json:"space_kwh"`
	HotWaterKWh  float64 `json:"hot_water_kwh"`
	DefrostKWh   float64 `json:"defrost_kwh"`
	StandbyKWh   float64 `json:"standby_kwh"`
	BackupKWh    float64 `json:"backup_kwh"` // backup and immersion heater
	UnmeteredKWh float64 `json:"unmetered_kwh"`
}

// Balance is the house's and the water's energy, to check the rig itself.
type Balance struct {
	SensorsKWh      float64 `json:"sensors_kwh"`       // all heat through the sensors, algebraic
	AfterSensorsKWh float64 `json:"after_sensors_kwh"` // of a heater behind them
	EmittedKWh      float64 `json:"emitted_kwh"`       // into the house
	CylinderKWh     float64 `json:"cylinder_kwh"`      // into the cylinder by its coil
	GainsKWh        float64 `json:"gains_kwh"`
	LossKWh         float64 `json:"loss_kwh"`
	StoredHouseKWh  float64 `json:"stored_house_kwh"`
	StoredWaterKWh  float64 `json:"stored_water_kwh"`
	DrawsKWh        float64 `json:"draws_kwh"` // hot water at the taps
}

// Day is one local day, as far as simulated. A day is Hours long: 23 or 25 when
// clocks change.
type Day struct {
	Date        string      `json:"date"` // 2006-01-02
	Hours       float64     `json:"hours_h"`
	Heat        Heat        `json:"heat"`
	Electricity Electricity `json:"electricity"`
	OutdoorC    float64     `json:"outdoor_c"` // mean
	RoomC       float64     `json:"room_c"`    // mean
	Starts      int         `json:"starts"`
	Defrosts    int         `json:"defrosts"` // by their begin
}

// Run is the compressor from start to stop; a defrost inside is not a stop.
type Run struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	Kind RunKind   `json:"kind"`
	Open bool      `json:"open,omitempty"` // still running at the end of the truth
}

// RunKind says what a run heated.
type RunKind string

// The kinds of runs.
const (
	HeatingRun      RunKind = "heating"
	HotWaterOnlyRun RunKind = "hot_water"
	MixedRun        RunKind = "mixed"
)

// DefrostRun is one defrost, from the valve's switch until heat flows into the
// water again.
type DefrostRun struct {
	From           time.Time    `json:"from"`
	To             time.Time    `json:"to"`
	Style          DefrostStyle `json:"style"`
	DrawnKWh       float64      `json:"drawn_kwh"`
	ElectricityKWh float64      `json:"electricity_kwh"`
	OutdoorC       float64      `json:"outdoor_c"`
	FrostKg        float64      `json:"frost_kg"`  // on the coil when it began
	LeftKg         float64      `json:"left_kg"`   // and when the valve turned back
	HotWater       bool         `json:"hot_water"` // drawn from the hot water circuit
}

// HotWaterRun is the compressor heating the cylinder.
type HotWaterRun struct {
	From           time.Time `json:"from"`
	To             time.Time `json:"to"`
	HeatKWh        float64   `json:"heat_kwh"`
	ElectricityKWh float64   `json:"electricity_kwh"`
	PeakFlowC      float64   `json:"peak_flow_c"`
}

// Onset is a trouble with when it began and its size.
type Onset struct {
	Kind Kind      `json:"kind"`
	At   time.Time `json:"at"`
	Size float64   `json:"size"`
	Unit string    `json:"unit"`
}

// Truth returns what happened so far.
func (r *Rig) Truth() Truth {
	l := &r.ledger
	t := Truth{
		Site: r.plant.ID, TimeZone: r.plant.TimeZone,
		From: r.time(r.startMS), To: r.time(r.nowMS),
		Starts: l.total.starts, RunHours: l.total.runS / 3600,
		Runs:     append([]Run{}, l.runs...),
		Defrosts: append([]DefrostRun{}, l.defrosts...),
		HotWater: append([]HotWaterRun{}, l.hotWater...),
		Days:     append([]Day{}, l.days...),
	}
	sum := l.total
	sum.add(&l.day)
	t.Starts, t.RunHours = sum.starts, sum.runS/3600
	t.Heat, t.Electricity = sum.heat(), sum.electricity()
	t.Balance = r.balance(&sum)
	t.Parameters = r.parameters(&sum)
	if l.day.seconds > 0 {
		t.Days = append(t.Days, l.day.truth(r.date))
	}
	l.closeOpen(&t, r.time(r.nowMS))
	for i, trouble := range r.plant.Troubles {
		t.Troubles = append(t.Troubles, Onset{trouble.Kind, r.time(r.onsetMS[i]), r.sizeOf(i), kinds[r.kindOf[i]].Unit})
	}
	return t
}

func (r *Rig) balance(s *sums) Balance {
	return Balance{
		SensorsKWh:      (s.spaceJ + s.hotWaterJ - s.drawnJ + s.circulatingJ) / jPerKWh,
		AfterSensorsKWh: s.afterJ / jPerKWh, EmittedKWh: s.emittedJ / jPerKWh, CylinderKWh: s.coilJ / jPerKWh,
		GainsKWh: s.gainsJ / jPerKWh, LossKWh: s.lossJ / jPerKWh, DrawsKWh: s.drawsJ / jPerKWh,
		StoredHouseKWh: (r.house.storedJ() - r.startHouseJ) / jPerKWh,
		StoredWaterKWh: (r.loop.storedJ() - r.startWaterJ) / jPerKWh,
	}
}

func (r *Rig) parameters(s *sums) Parameters {
	p := &r.plant
	par := Parameters{
		HeatLossWPerK: p.House.HeatLossWPerK, DesignOutdoorC: p.Design.OutdoorC,
		HeatLossAtDesignW: p.House.HeatLossWPerK * (p.House.RoomSetC - p.Design.OutdoorC),
		RoomSetC:          p.House.RoomSetC, InternalGainsW: p.House.GainsW,
		HeatingCurve: append([]CurvePoint(nil), p.Control.Curve...), EmitterExponent: p.Emitters.Exponent,
		EmitterAt50KW: p.Emitters.OutputAt50KW * 1e3, CommissionedLPH: p.Loop.FlowLPH,
		HotWaterFlowLPH: p.Loop.HotWaterFlowLPH, PairOffsetK: p.Metering.PairOffsetK + r.eff.flowSensorK,
		RatedHeatW: p.HeatPump.RatedHeatKW * 1e3, MinimumHeatW: p.HeatPump.MinimumHeatKW * 1e3,
		CarnotShare: p.HeatPump.CarnotShare, StandbyW: p.HeatPump.StandbyW, PumpW: p.Loop.PumpW,
		LoopL: p.Loop.VolumeL + p.Emitters.WaterL, Covers: p.Metering.covers(p),
	}
	if s.seconds > 0 {
		par.RoomMeanC, par.OutdoorMeanC = s.roomKS/s.seconds, s.outdoorKS/s.seconds
		par.GainsW = s.gainsJ / s.seconds
		par.BaseC = par.RoomMeanC - par.GainsW/par.HeatLossWPerK
	}
	return par
}

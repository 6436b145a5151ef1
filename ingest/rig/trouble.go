package rig

import (
	"fmt"
	"time"
)

// Kind names a trouble.
type Kind string

// Trouble is something that goes wrong with a plant or its telemetry.
type Trouble struct {
	Kind  Kind
	At    time.Time     // onset; when zero, After counts
	After time.Duration // onset after the start of the rig
	Size  float64       // in the kind's unit; 0 means the kind's usual size
}

// KindInfo describes a kind of trouble.
type KindInfo struct {
	Kind      Kind
	Doc       string  // one line
	Unit      string  // of Size; "" when size means nothing
	UsualSize float64 // taken for a Size of 0
}

// The troubles.
const (
	LowFlow            Kind = "low_flow"
	BlockingStrainer   Kind = "blocking_strainer"
	FlowStep           Kind = "flow_step"
	OversizedMinimum   Kind = "oversized_minimum"
	TooLittleWater     Kind = "too_little_water"
	ThermostatChopping Kind = "thermostat_chopping"
	TightHysteresis    Kind = "tight_hysteresis"
	DefrostTooOften    Kind = "defrost_too_often"
	DefrostTooLong     Kind = "defrost_too_long"
	DefrostInMild      Kind = "defrost_in_mild"
	DefrostNotClearing Kind = "defrost_not_clearing"
	LostRefrigerant    Kind = "lost_refrigerant"
	RoomBelowSet       Kind = "room_below_set"
	CurveTooHigh       Kind = "curve_too_high"
	CurveNotFollowed   Kind = "curve_not_followed"
	OnOffControl       Kind = "on_off_control"
	NeedlessBackup     Kind = "needless_backup"
	HotWaterSlow       Kind = "hot_water_slow"
	HotWaterShort      Kind = "hot_water_short"
	HygieneMissed      Kind = "hygiene_missed"
	SwappedSensors     Kind = "swapped_sensors"
	SensorOffset       Kind = "sensor_offset"
	OutdoorStuck       Kind = "outdoor_stuck"
	OutdoorJumping     Kind = "outdoor_jumping"
	OutdoorDrifting    Kind = "outdoor_drifting"
	OutdoorSunStruck   Kind = "outdoor_sun_struck"
	WrongFlowUnit      Kind = "wrong_flow_unit"
	WrongPowerUnit     Kind = "wrong_power_unit"
	RegisterDisagrees  Kind = "register_disagrees"
	ClockOffset        Kind = "clock_offset"
	ClockJumps         Kind = "clock_jumps"
	NeedlessPump       Kind = "needless_pump"
	Silent             Kind = "silent"
	FrostDanger        Kind = "frost_danger"
	GarbagePayloads    Kind = "garbage_payloads"
)

// effects is what all active troubles together do to the plant; the zero value
// is not neutral, see neutral.
type effects struct {
	flowShare, loopVolumeShare, minimumOutput float64 // factors
	capacity, cop, coil                       float64
	defrostEvery                              time.Duration
	defrostBelowC                             float64
	defrostLengthS                            float64
	frostLeft                                 float64
	curveShiftK                               float64
	constantFlowC                             float64 // 0 follows the curve
	chopPeriodS                               float64 // 0 no chopping
	hysteresisK                               float64 // 0 as set
	backupBelowC                              float64
	hotWaterLimitC                            float64
	onOff, noHygiene, dead                    bool
	pumpAlways                                bool

	swapped                                       bool
	flowSensorK                                   float64
	outdoorStuck                                  bool
	outdoorJumpK, outdoorDriftK                   float64
	outdoorSunK                                   float64
	flowReadingShare, powerReadingShare, register float64 // factors
	clockMS                                       int64
	clockJumpMS                                   float64
	silent                                        bool
	garbage                                       float64
}

func neutral() effects {
	return effects{flowShare: 1, loopVolumeShare: 1, minimumOutput: 1, capacity: 1, cop: 1, coil: 1,
		defrostBelowC: frostLimitC, backupBelowC: -273, hotWaterLimitC: 273,
		flowReadingShare: 1, powerReadingShare: 1, register: 1}
}

// trouble rows: apply changes the effects, days after the onset.
var kinds = []struct {
	KindInfo
	apply func(e *effects, size, days float64)
}{
	{KindInfo{LowFlow, "heating flow is a share of what was commissioned", "share", 0.5},
		func(e *effects, size, _ float64) { e.flowShare *= size }},
	{KindInfo{BlockingStrainer, "flow falls day by day as the strainer blocks, to a third at worst", "% per day", 1},
		func(e *effects, size, days float64) { e.flowShare *= max(0.33, 1-size/100*days) }},
	{KindInfo{FlowStep, "flow steps to a share, as when a circuit closes", "share", 0.7},
		func(e *effects, size, _ float64) { e.flowShare *= size }},
	{KindInfo{OversizedMinimum, "lowest output is this many times what it should be", "times", 2},
		func(e *effects, size, _ float64) { e.minimumOutput *= size }},
	{KindInfo{TooLittleWater, "the loop holds a share of its water and mass", "share", 0.3},
		func(e *effects, size, _ float64) { e.loopVolumeShare *= size }},
	{KindInfo{ThermostatChopping, "a room thermostat switches the plant on and off at this period", "min", 20},
		func(e *effects, size, _ float64) { e.chopPeriodS = size * 60 }},
	{KindInfo{TightHysteresis, "start and stop lie this close to the target", "K", 1},
		func(e *effects, size, _ float64) { e.hysteresisK = size }},
	{KindInfo{DefrostTooOften, "defrosts by the clock, needed or not", "min", 25},
		func(e *effects, size, _ float64) { e.defrostEvery = minutes(size) }},
	{KindInfo{DefrostTooLong, "every defrost lasts this long", "min", 14},
		func(e *effects, size, _ float64) { e.defrostLengthS = size * 60 }},
	{KindInfo{DefrostInMild, "defrosts by the clock up to 15 °C outdoors", "min", 45},
		func(e *effects, size, _ float64) { e.defrostEvery, e.defrostBelowC = minutes(size), 15 }},
	{KindInfo{DefrostNotClearing, "a share of the frost survives every defrost", "share", 0.7},
		func(e *effects, size, _ float64) { e.frostLeft = size }},
	{KindInfo{LostRefrigerant, "output is a share of what it was, and efficiency suffers", "share", 0.5},
		func(e *effects, size, _ float64) { e.capacity *= size; e.cop *= 0.4 + 0.6*size }},
	{KindInfo{RoomBelowSet, "the curve is set this much too low for the house", "K", 7},
		func(e *effects, size, _ float64) { e.curveShiftK -= size }},
	{KindInfo{CurveTooHigh, "the curve is set this much higher than the house needs", "K", 8},
		func(e *effects, size, _ float64) { e.curveShiftK += size }},
	{KindInfo{CurveNotFollowed, "flow temperature is held at this, whatever the weather", "°C", 45},
		func(e *effects, size, _ float64) { e.constantFlowC = size }},
	{KindInfo{OnOffControl, "the compressor knows only full output and off", "", 0},
		func(e *effects, _, _ float64) { e.onOff = true }},
	{KindInfo{NeedlessBackup, "the backup heater helps below this outdoors, needed or not", "°C", 8},
		func(e *effects, size, _ float64) { e.backupBelowC = size }},
	{KindInfo{HotWaterSlow, "the coil passes a share of its heat", "share", 0.15},
		func(e *effects, size, _ float64) { e.coil *= size }},
	{KindInfo{HotWaterShort, "hot water runs give up at this, below target", "°C", 43},
		func(e *effects, size, _ float64) { e.hotWaterLimitC = size }},
	{KindInfo{HygieneMissed, "the weekly hygiene run does not happen", "", 0},
		func(e *effects, _, _ float64) { e.noHygiene = true }},
	{KindInfo{SwappedSensors, "flow and return sensors are exchanged", "", 0},
		func(e *effects, _, _ float64) { e.swapped = !e.swapped }},
	{KindInfo{SensorOffset, "the flow sensor reads this much high", "K", 1},
		func(e *effects, size, _ float64) { e.flowSensorK += size }},
	{KindInfo{OutdoorStuck, "the outdoor sensor keeps its last value", "", 0},
		func(e *effects, _, _ float64) { e.outdoorStuck = true }},
	{KindInfo{OutdoorJumping, "the outdoor sensor jumps by up to this", "K", 15},
		func(e *effects, size, _ float64) { e.outdoorJumpK = size }},
	{KindInfo{OutdoorDrifting, "the outdoor sensor drifts", "K per day", 0.3},
		func(e *effects, size, days float64) { e.outdoorDriftK += size * days }},
	{KindInfo{OutdoorSunStruck, "sun on the outdoor sensor lifts it by this at 600 W/m²", "K", 8},
		func(e *effects, size, _ float64) { e.outdoorSunK += size }},
	{KindInfo{WrongFlowUnit, "flow in l/min is published as l/h", "", 0},
		func(e *effects, _, _ float64) { e.flowReadingShare /= 60 }},
	{KindInfo{WrongPowerUnit, "power in kW is published as W", "", 0},
		func(e *effects, _, _ float64) { e.powerReadingShare /= 1000 }},
	{KindInfo{RegisterDisagrees, "registers count this many times the truth", "times", 1.15},
		func(e *effects, size, _ float64) { e.register *= size }},
	{KindInfo{ClockOffset, "the publisher's clock is ahead by this", "h", 2},
		func(e *effects, size, _ float64) { e.clockMS += int64(size * 3.6e6) }},
	{KindInfo{ClockJumps, "the publisher's clock jumps by up to this either way, every few hours", "min", 30},
		func(e *effects, size, _ float64) { e.clockJumpMS = size * 6e4 }},
	{KindInfo{NeedlessPump, "the pump runs whether heat is wanted or not", "", 0},
		func(e *effects, _, _ float64) { e.pumpAlways = true }},
	{KindInfo{Silent, "nothing is published for this long", "h", 1e6},
		func(e *effects, size, days float64) { e.silent = e.silent || days*24 < size }},
	{KindInfo{FrostDanger, "the plant is locked out: no heat and no flow, whatever the frost", "", 0},
		func(e *effects, _, _ float64) { e.dead = true }},
	{KindInfo{GarbagePayloads, "a share of the values is not a number or an impossible one", "share", 0.05},
		func(e *effects, size, _ float64) { e.garbage = size }},
}

func minutes(size float64) time.Duration { return time.Duration(size * float64(time.Minute)) }

// Kinds lists every kind of trouble.
func Kinds() []KindInfo {
	infos := make([]KindInfo, len(kinds))
	for i, k := range kinds {
		infos[i] = k.KindInfo
	}
	return infos
}

// Info describes the kind, or returns false for a name that is none.
func (k Kind) Info() (KindInfo, bool) {
	for _, row := range kinds {
		if row.Kind == k {
			return row.KindInfo, true
		}
	}
	return KindInfo{}, false
}

// onset is when the trouble of a rig begins that starts at start.
func (t Trouble) onset(start time.Time) time.Time {
	if t.At.IsZero() {
		return start.Add(t.After)
	}
	return t.At
}

func (t Trouble) validate() error {
	info, ok := t.Kind.Info()
	switch {
	case !ok:
		return fmt.Errorf("trouble %q is not known; Kinds lists them", t.Kind)
	case t.Size < 0 && info.Unit != "K per day" && info.Unit != "h" && info.Unit != "K" && info.Unit != "°C":
		return fmt.Errorf("trouble %q: size of %g %s must not be negative", t.Kind, t.Size, info.Unit)
	case info.Unit == "share" && t.Size > 1:
		return fmt.Errorf("trouble %q: size of %g is a share, 0 to 1", t.Kind, t.Size)
	}
	return nil
}

// feelTroubles puts together what the plant's troubles do now.
func (r *Rig) feelTroubles() {
	r.eff = neutral()
	for i, at := range r.onsetMS {
		if r.nowMS < at {
			continue
		}
		row := &kinds[r.kindOf[i]]
		row.apply(&r.eff, r.sizeOf(i), float64(r.nowMS-at)/msPerDay)
	}
}

// sizeOf is the size of a trouble, or its kind's usual one.
func (r *Rig) sizeOf(i int) float64 {
	if size := r.plant.Troubles[i].Size; size != 0 {
		return size
	}
	return kinds[r.kindOf[i]].UsualSize
}

package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Quantity is what a channel measures, without the place where it does.
type Quantity string

// The quantities coldweek knows. Canonical units are in the table below.
const (
	FlowTemp            Quantity = "flow_temp"
	ReturnTemp          Quantity = "return_temp"
	OutdoorTemp         Quantity = "outdoor_temp"
	RoomTemp            Quantity = "room_temp"
	CylinderTemp        Quantity = "cylinder_temp"
	FloorTemp           Quantity = "floor_temp"
	FlowTarget          Quantity = "flow_target"
	FlowRate            Quantity = "flow_rate"
	Power               Quantity = "power"
	BackupPower         Quantity = "backup_power"
	PumpPower           Quantity = "pump_power"
	HeatOutput          Quantity = "heat_output"
	ElectricityRegister Quantity = "electricity_register"
	HeatRegister        Quantity = "heat_register"
	VolumeRegister      Quantity = "volume_register"
	CompressorSpeed     Quantity = "compressor_speed"
	Pressure            Quantity = "pressure"
	OutdoorHumidity     Quantity = "outdoor_humidity"
	Irradiance          Quantity = "irradiance"
	ModeQuantity        Quantity = "mode"
)

// Between says how a channel behaves between two of its samples.
type Between int

const (
	// Linear: the quantity changes smoothly, as temperatures do.
	Linear Between = iota
	// Hold: the quantity jumps, as a switched power does; a value is valid
	// until the next one.
	Hold
)

// traits of a quantity. Low and high are what is physically possible in a
// house's heating plant, not what is healthy: values outside are quarantined
// (common practice, no source; the outdoor range holds the extremes recorded
// on inhabited land).
type traits struct {
	unit      Unit
	low, high float64
	between   Between
	register  bool
}

var quantities = map[Quantity]traits{
	FlowTemp:            {unit: DegreeCelsius, low: -40, high: 130},
	ReturnTemp:          {unit: DegreeCelsius, low: -40, high: 130},
	OutdoorTemp:         {unit: DegreeCelsius, low: -70, high: 60},
	RoomTemp:            {unit: DegreeCelsius, low: -40, high: 60},
	CylinderTemp:        {unit: DegreeCelsius, low: -40, high: 130},
	FloorTemp:           {unit: DegreeCelsius, low: -40, high: 80},
	FlowTarget:          {unit: DegreeCelsius, low: -40, high: 130, between: Hold},
	FlowRate:            {unit: LitrePerHour, low: 0, high: 100_000, between: Hold},
	Power:               {unit: Watt, low: -200, high: 500_000, between: Hold},
	BackupPower:         {unit: Watt, low: -200, high: 500_000, between: Hold},
	PumpPower:           {unit: Watt, low: -50, high: 20_000, between: Hold},
	HeatOutput:          {unit: Watt, low: -500_000, high: 1_000_000, between: Hold},
	ElectricityRegister: {unit: KilowattHour, low: 0, high: 1e9, register: true},
	HeatRegister:        {unit: KilowattHour, low: 0, high: 1e9, register: true},
	VolumeRegister:      {unit: CubicMetre, low: 0, high: 1e9, register: true},
	CompressorSpeed:     {unit: Hertz, low: 0, high: 400, between: Hold},
	Pressure:            {unit: Bar, low: -1, high: 30},
	OutdoorHumidity:     {unit: Percent, low: 0, high: 110},
	Irradiance:          {unit: WattPerSquareMetre, low: -50, high: 1800},
	ModeQuantity:        {unit: One, low: 0, high: float64(len(modes) - 1), between: Hold},
}

// Quantities returns every known quantity in alphabetical order.
func Quantities() []Quantity {
	names := make([]Quantity, 0, len(quantities))
	for q := range quantities {
		names = append(names, q)
	}
	slices.Sort(names)
	return names
}

// Known says whether q is one of the quantities.
func (q Quantity) Known() bool { _, ok := quantities[q]; return ok }

// Unit returns the canonical unit in which values of q are kept.
func (q Quantity) Unit() Unit { return quantities[q].unit }

// Between says how q behaves between two samples.
func (q Quantity) Between() Between { return quantities[q].between }

// IsRegister says whether q is a counter that only ever grows, apart from
// resets and roll-overs.
func (q Quantity) IsRegister() bool { return quantities[q].register }

// Range returns the physically possible values of q in its canonical unit.
func (q Quantity) Range() (low, high float64) {
	t := quantities[q]
	return t.low, t.high
}

// CheckValue says why a value in the canonical unit cannot be one of q, or
// returns nil.
func (q Quantity) CheckValue(value float64) error {
	low, high := q.Range()
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		return fmt.Errorf("%s is %g, which is no number a sensor can mean", q, value)
	case value < low || value > high:
		return fmt.Errorf("%s of %g %s is impossible (%g to %g %s): check the unit of its source",
			q, value, q.Unit().Symbol(), low, high, q.Unit().Symbol())
	case q == ModeQuantity && value != math.Trunc(value):
		return fmt.Errorf("mode %g is none of %s", value, strings.Join(modes[:], ", "))
	}
	return nil
}

// Mode is what the plant's own controller says it is doing.
type Mode int

// The modes, also the values kept in the mode channel.
const (
	ModeOff Mode = iota
	ModeHeating
	ModeHotWater
	ModeDefrost
)

var modes = [...]string{"off", "heating", "hot_water", "defrost"}

// String returns the mode's name, or "mode 7" for a number that is none.
func (m Mode) String() string {
	if m < 0 || int(m) >= len(modes) {
		return fmt.Sprintf("mode %d", int(m))
	}
	return modes[m]
}

// ParseMode reads a mode's name. Other controllers' words are mapped in the
// site record.
func ParseMode(s string) (Mode, error) {
	if i := slices.Index(modes[:], s); i >= 0 {
		return Mode(i), nil
	}
	return 0, fmt.Errorf("mode %q is none of %s", s, strings.Join(modes[:], ", "))
}

// Modes returns the names of the modes in the order of their values.
func Modes() []string { return slices.Clone(modes[:]) }

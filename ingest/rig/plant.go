package rig

import (
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig/instrument"
	"coldweek/ingest/rig/weather"
)

// Plant is everything about one simulated installation. Houses and Random
// give complete ones; change what a test is about.
type Plant struct {
	ID, Name     string
	TimeZone     string // IANA name
	LatitudeDeg  float64
	LongitudeDeg float64
	Seed         uint64
	Step         time.Duration // of the simulation; 0 means 2 s

	Climate weather.Climate
	Hours   []weather.Hour // played instead of the climate when given, repeated when they run out
	// HoursFrom is the time of the first of Hours; the start of the rig when zero.
	HoursFrom time.Time

	House    House
	Emitters Emitters
	Loop     Loop
	HeatPump HeatPump
	Control  Control
	Defrost  Defrost
	HotWater HotWater
	Backup   Backup
	Metering Metering
	Design   Design
	Troubles []Trouble

	Paperwork Paperwork
}

// House is two heat capacities, air with furniture and the fabric. The loss
// coefficient is exact in steady state: all gains go to the air.
type House struct {
	HeatLossWPerK   float64
	AirMJPerK       float64
	FabricMJPerK    float64
	GainsW          float64 // internal gains, mean of a local day
	SolarApertureM2 float64 // area that would let the horizontal's sun in entirely
	RoomSetC        float64
	Rooms           []string // places of the room sensors
}

// Emitters follow the exponent law of EN 442 (radiators) or EN 1264 (floors)
// on the arithmetic mean water temperature.
type Emitters struct {
	OutputAt50KW float64 // W at 50 K excess temperature
	Exponent     float64 // 1.3 for panel radiators, 1.1 for floors
	WaterL       float64 // water in the emitters
	MetalKJPerK  float64 // their own mass, as warm as their water
	SlabMJPerK   float64 // screed that follows the water of a floor; 0 for radiators
}

// Loop is the one water circuit: no buffer, no second pump.
type Loop struct {
	VolumeL         float64 // all water but the emitters' and the hot water coil's
	FlowLPH         float64 // heating flow as commissioned
	ModulatingShare float64 // how much of it the pump gives up at lowest output
	HotWaterFlowLPH float64
	PumpW           float64 // at the commissioned heating flow
}

// HeatPump is an air to water machine with a modulating compressor.
type HeatPump struct {
	RatedHeatKW   float64 // greatest output at 7 °C outdoors, 35 °C flow
	MinimumHeatKW float64 // lowest output it can hold at 7 °C outdoors
	CapacityPerK  float64 // share of RatedHeatKW lost per K below 7 °C
	CarnotShare   float64 // of the Carnot COP between condensing and evaporating temperature
	MaximumFlowC  float64
	StandbyW      float64
	MaximumHz     float64
	RampS         float64 // time constant of the heat output after a start
}

// Control is the plant's controller.
type Control struct {
	Curve               []CurvePoint // by rising outdoor temperature, straight lines between
	MinimumFlowC        float64
	MaximumFlowC        float64
	HeatingLimitC       float64 // no heating while the outdoor mean of the last day is above
	DampingH            float64 // time constant of the outdoor temperature in the curve
	StartBelowK         float64 // starts when the water is this much below target
	StopAboveK          float64 // stops at lowest output when the flow is this much above target
	MinimumPause        time.Duration
	Overrun             time.Duration // of the pump when heating demand ends
	RoomCorrectionKPerK float64       // K of flow target per K the room is off its set point
	RoomCutOutK         float64       // no heating while the room is this much too warm; 0 never
}

// CurvePoint is a point of the heating curve.
type CurvePoint struct {
	OutdoorC float64 `json:"outdoor_c"`
	FlowC    float64 `json:"flow_c"`
}

// DefrostStyle is how the machine melts its frost.
type DefrostStyle string

// The two styles in use.
const (
	ReverseCycle DefrostStyle = "reverse_cycle" // draws heat from the water
	HotGas       DefrostStyle = "hot_gas"       // draws none, gives none
)

// Defrost is how and when the machine defrosts.
type Defrost struct {
	Style            DefrostStyle
	ThresholdKgPerKW float64       // frost per kW rated that starts one
	Every            time.Duration // timed by running time instead, below 7 °C; 0 is demand control
	HeatShare        float64       // of rated output drawn from the water by a reversed cycle
	PowerShare       float64       // of the power before, 0.3 to 0.7
	MinimumInterval  time.Duration
	MaximumLength    time.Duration
	MinimumFlowTempC float64 // a defrost is given up when the water gets this cold
}

// HotWater is a cylinder with a coil behind a diverter valve; a plant without
// has CylinderL 0.
type HotWater struct {
	CylinderL     float64
	TargetC       float64
	HysteresisK   float64
	CoilWPerK     float64 // between the coil's outlet and the cylinder
	DailyKWh      float64 // mean of the draws of a day
	LossWPerK     float64
	OutputShare   float64 // of the greatest output, while heating the cylinder
	Schedule      []Span  // starts only within these local times; none means always
	HygieneC      float64 // weekly run to this temperature; 0 never
	HygieneDay    time.Weekday
	HygieneHour   int
	ImmersionKW   float64 // heater in the cylinder that finishes the weekly run
	MaximumLength time.Duration
}

// Span is a span of the local day in hours, such as {4.5, 7}.
type Span struct{ FromH, ToH float64 }

// Backup is an electric heater in the flow; a plant without has PowerKW 0.
type Backup struct {
	PowerKW       float64
	BelowOutdoorC float64 // helps below this when the machine cannot hold the target
	AfterSensors  bool    // sits behind the flow sensor, so its heat is not measured
}

// Metering is what the plant publishes and how well it measures.
type Metering struct {
	Quantities    []ingest.Quantity // what is published; nil is everything the plant has
	Interval      time.Duration     // of the fast channels; 0 means 10 s
	SlowInterval  time.Duration     // of temperatures that move slowly and of registers; 0 means 60 s, never less than Interval
	Specs         map[ingest.Quantity]instrument.Spec
	SlowOnChange  bool          // slow temperatures and the mode are published only when they change, and every 10 minutes
	Jitter        time.Duration // samples are up to this late
	OwnClocks     bool          // every channel is sampled at its own times
	DropoutShare  float64       // of all samples lost, in bursts of a minute or so
	GapsPerMonth  float64       // of some hours each
	PairOffsetK   float64       // flow minus return when both are equally warm
	FlowSensorHot bool          // the flow sensor sits in the flow pipe, not in the return

	HeatRegisterBothWays  bool // counts backwards while a defrost draws heat
	RegisterStartKWh      float64
	RegisterRollsOverKWh  float64       // 0 never
	RegisterResetAfter    time.Duration // counted from the start; 0 never
	BackupNotMetered      bool          // neither power meter nor register see the backup and immersion heaters
	PumpNotMetered        bool
	HeatMeterClass        int
	ElectricityMeterClass string
}

// Design is what the paperwork says about the house.
type Design struct {
	OutdoorC     float64
	HeatLossKW   float64 // by survey at OutdoorC, without gains; may be off the truth
	FlowC        float64
	DifferenceK  float64
	Commissioned time.Time
}

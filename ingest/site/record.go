// Package site holds the site record: what the engineer knows about one
// installation, written once in YAML. Everything but the identity and the
// time zone is optional; what is missing makes some answers "not known".
package site

import (
	"time"

	"coldweek/ingest"
)

// Record is one installation. Keys carry their units.
type Record struct {
	ID           string                    `yaml:"id" jsonschema:"required,pattern=^[a-z0-9][a-z0-9_-]{0\\,62}$,description=Short name used in topics and file names"`
	Name         string                    `yaml:"name,omitempty" jsonschema:"description=What people call the house"`
	TimeZone     string                    `yaml:"time_zone" jsonschema:"required,description=IANA name such as Europe/London; local days follow it"`
	Location     *Location                 `yaml:"location,omitempty"`
	Design       *Design                   `yaml:"design,omitempty"`
	HeatPump     *HeatPump                 `yaml:"heat_pump,omitempty"`
	HeatingCurve *HeatingCurve             `yaml:"heating_curve,omitempty"`
	Commissioned *Commissioned             `yaml:"commissioned,omitempty"`
	Metering     *Metering                 `yaml:"metering,omitempty"`
	Channels     map[ingest.Channel]Source `yaml:"channels,omitempty" jsonschema:"description=Where each channel comes from; the default topics and column names need no entry"`
	Pipework     *Pipework                 `yaml:"pipework,omitempty"`
	Emitters     *Emitters                 `yaml:"emitters,omitempty"`
	HotWater     *HotWater                 `yaml:"hot_water,omitempty"`
	Tariff       *Tariff                   `yaml:"tariff,omitempty"`
	Contact      *Contact                  `yaml:"contact,omitempty"`
	Visits       []Visit                   `yaml:"visits,omitempty"`

	zone *time.Location
}

// Zone returns the site's time zone. A record that came through Load or Parse
// has one.
func (r *Record) Zone() *time.Location {
	if r.zone == nil {
		return time.UTC
	}
	return r.zone
}

// Location is where the house stands.
type Location struct {
	LatitudeDeg  float64 `yaml:"latitude_deg" jsonschema:"minimum=-90,maximum=90"`
	LongitudeDeg float64 `yaml:"longitude_deg" jsonschema:"minimum=-180,maximum=180"`
	ElevationM   float64 `yaml:"elevation_m,omitempty" jsonschema:"minimum=-430,maximum=5500"`
}

// Design is what the heat loss calculation and the emitter sizing said.
type Design struct {
	OutdoorTempC          *float64 `yaml:"outdoor_temp_c,omitempty" jsonschema:"minimum=-50,maximum=15"`
	RoomTempC             *float64 `yaml:"room_temp_c,omitempty" jsonschema:"minimum=5,maximum=30"`
	HeatLossKW            *float64 `yaml:"heat_loss_kw,omitempty" jsonschema:"exclusiveMinimum=0,maximum=500"`
	FlowTempC             *float64 `yaml:"flow_temp_c,omitempty" jsonschema:"minimum=20,maximum=90"`
	FlowReturnDifferenceK *float64 `yaml:"flow_return_difference_k,omitempty" jsonschema:"minimum=1,maximum=30"`
}

// HeatPump is the machine.
type HeatPump struct {
	Maker                   string      `yaml:"maker,omitempty"`
	Model                   string      `yaml:"model,omitempty"`
	RatedHeatKW             *float64    `yaml:"rated_heat_kw,omitempty" jsonschema:"exclusiveMinimum=0,maximum=500"`
	MinimumHeatKW           *float64    `yaml:"minimum_heat_kw,omitempty" jsonschema:"minimum=0,maximum=500,description=Lowest output the machine can hold without stopping"`
	MinimumFlowLPH          *float64    `yaml:"minimum_flow_lph,omitempty" jsonschema:"minimum=0,maximum=100000"`
	Fluid                   string      `yaml:"fluid,omitempty" jsonschema:"enum=water,enum=propylene_glycol,enum=ethylene_glycol,description=What flows through the heat meter"`
	FluidConcentrationPct   *float64    `yaml:"fluid_concentration_pct,omitempty" jsonschema:"minimum=0,maximum=60"`
	FluidConcentrationBasis string      `yaml:"fluid_concentration_basis,omitempty" jsonschema:"enum=volume,enum=mass"`
	LaboratoryPoints        []LabPoint  `yaml:"laboratory_points,omitempty" jsonschema:"description=Test points per EN 14511"`
	PumpCurve               []PumpPoint `yaml:"pump_curve,omitempty" jsonschema:"description=Head the circulation pump has left for the pipework"`
}

// LabPoint is one EN 14511 test point at full output.
type LabPoint struct {
	OutdoorTempC float64 `yaml:"outdoor_temp_c" jsonschema:"minimum=-40,maximum=45"`
	FlowTempC    float64 `yaml:"flow_temp_c" jsonschema:"minimum=20,maximum=90"`
	HeatKW       float64 `yaml:"heat_kw" jsonschema:"exclusiveMinimum=0,maximum=500"`
	COP          float64 `yaml:"cop" jsonschema:"minimum=0.8,maximum=12"`
}

// PumpPoint is one point of the pump curve.
type PumpPoint struct {
	FlowLPH float64 `yaml:"flow_lph" jsonschema:"minimum=0,maximum=100000"`
	HeadKPa float64 `yaml:"head_kpa" jsonschema:"minimum=0,maximum=500"`
}

// HeatingCurve is the weather compensation as set in the controller.
type HeatingCurve struct {
	Points       []CurvePoint `yaml:"points,omitempty"`
	MinimumFlowC *float64     `yaml:"minimum_flow_temp_c,omitempty" jsonschema:"minimum=10,maximum=80"`
	MaximumFlowC *float64     `yaml:"maximum_flow_temp_c,omitempty" jsonschema:"minimum=20,maximum=90"`
}

// CurvePoint pairs an outdoor with a flow temperature.
type CurvePoint struct {
	OutdoorTempC float64 `yaml:"outdoor_temp_c" jsonschema:"minimum=-50,maximum=30"`
	FlowTempC    float64 `yaml:"flow_temp_c" jsonschema:"minimum=10,maximum=90"`
}

// Commissioned is what was measured on commissioning day.
type Commissioned struct {
	Date        string        `yaml:"date,omitempty" jsonschema:"format=date"`
	FlowRateLPH *float64      `yaml:"flow_rate_lph,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100000"`
	Circuits    []CircuitFlow `yaml:"circuits,omitempty"`
}

// CircuitFlow is the commissioned flow of one circuit.
type CircuitFlow struct {
	Name        string  `yaml:"name"`
	FlowRateLPH float64 `yaml:"flow_rate_lph" jsonschema:"exclusiveMinimum=0,maximum=100000"`
}

// Metering says what the meters cover and how good they are.
type Metering struct {
	ElectricityCovers []string          `yaml:"electricity_covers,omitempty" jsonschema:"enum=compressor,enum=fan,enum=controls,enum=backup_heater,enum=circulation_pump,enum=immersion_heater,description=What the electricity meter sees; sets the SPF boundary"`
	HeatMeter         *HeatMeter        `yaml:"heat_meter,omitempty"`
	ElectricityMeter  *ElectricityMeter `yaml:"electricity_meter,omitempty"`
	SensorPairs       []SensorPair      `yaml:"sensor_pairs,omitempty"`
}

// HeatMeter is class per EN 1434-1 and where its flow sensor sits.
type HeatMeter struct {
	Class              int      `yaml:"class,omitempty" jsonschema:"enum=1,enum=2,enum=3"`
	Position           string   `yaml:"position,omitempty" jsonschema:"enum=flow,enum=return,description=The pipe that holds the flow sensor; return when not given"`
	PermanentFlowM3H   *float64 `yaml:"permanent_flow_m3h,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100,description=qp on the meter's plate"`
	MinimumDifferenceK *float64 `yaml:"minimum_difference_k,omitempty" jsonschema:"exclusiveMinimum=0,maximum=20"`
	AfterBackupHeater  bool     `yaml:"after_backup_heater,omitempty"`
}

// ElectricityMeter is class per EN 50470-3.
type ElectricityMeter struct {
	Class string `yaml:"class,omitempty" jsonschema:"enum=A,enum=B,enum=C"`
}

// SensorPair is what is known of a flow and return sensor pair.
type SensorPair struct {
	Flow        ingest.Channel `yaml:"flow"`
	Return      ingest.Channel `yaml:"return"`
	PairErrorK  *float64       `yaml:"pair_error_k,omitempty" jsonschema:"minimum=0,maximum=5,description=95 % limit of the error of the difference"`
	OffsetK     *float64       `yaml:"offset_k,omitempty" jsonschema:"minimum=-10,maximum=10,description=Flow minus return when both are equally warm"`
	ApplyOffset bool           `yaml:"apply_offset,omitempty" jsonschema:"description=Take offset_k off the measured difference"`
}

// Source is where a channel comes from: an MQTT topic or a file's column.
type Source struct {
	Topic       string            `yaml:"topic,omitempty"`
	Pointer     string            `yaml:"pointer,omitempty" jsonschema:"description=RFC 6901 JSON Pointer to the value; without it the payload is a bare number"`
	Samples     string            `yaml:"samples,omitempty" jsonschema:"description=RFC 6901 pointer to an array of samples; pointer and time_pointer then start at each element"`
	TimePointer string            `yaml:"time_pointer,omitempty" jsonschema:"description=RFC 6901 pointer to the time; without it the time of arrival"`
	Column      string            `yaml:"column,omitempty" jsonschema:"description=Header of the column in a file"`
	Unit        ingest.Unit       `yaml:"unit,omitempty" jsonschema:"description=UCUM code of the values as they come; the canonical unit when not given"`
	Values      map[string]string `yaml:"values,omitempty" jsonschema:"description=For mode: the controller's word or number and what it means"`
	MaxGapS     *float64          `yaml:"max_gap_s,omitempty" jsonschema:"exclusiveMinimum=0,maximum=86400,description=How long a value stays valid without a new one; for channels published only on change"`
}

// Pipework is a tree of legs from the heat pump outwards.
type Pipework struct {
	Legs []Leg `yaml:"legs"`
}

// Leg is a length of pipe pair and what hangs on it.
type Leg struct {
	Name       string    `yaml:"name"`
	Material   string    `yaml:"material" jsonschema:"enum=copper,enum=multilayer,enum=pex,enum=steel"`
	Size       string    `yaml:"size" jsonschema:"description=Outside diameter x wall in mm, such as 28x0.9"`
	LengthM    float64   `yaml:"length_m" jsonschema:"minimum=0,maximum=1000,description=Flow and return together"`
	Parallel   int       `yaml:"parallel,omitempty" jsonschema:"minimum=1,maximum=8,description=Equal pairs side by side"`
	Fittings   []Fitting `yaml:"fittings,omitempty"`
	ServesKW   *float64  `yaml:"serves_kw,omitempty" jsonschema:"minimum=0,maximum=500"`
	ServesRoom string    `yaml:"serves_room,omitempty"`
	Legs       []Leg     `yaml:"legs,omitempty"`
}

// Fitting is a pressure loss by resistance coefficient.
type Fitting struct {
	Name  string  `yaml:"name"`
	Zeta  float64 `yaml:"zeta" jsonschema:"minimum=0,maximum=1000"`
	Count int     `yaml:"count,omitempty" jsonschema:"minimum=1,maximum=1000"`
}

// Emitters are the rooms and what heats them.
type Emitters struct {
	Rooms []Room `yaml:"rooms"`
}

// Room is one heated room.
type Room struct {
	Place       string     `yaml:"place"`
	SetTempC    *float64   `yaml:"set_temp_c,omitempty" jsonschema:"minimum=5,maximum=30"`
	DesignLossW *float64   `yaml:"design_loss_w,omitempty" jsonschema:"minimum=0,maximum=100000"`
	Circuit     string     `yaml:"circuit,omitempty"`
	Radiators   []Radiator `yaml:"radiators,omitempty"`
	FloorAreaM2 *float64   `yaml:"floor_heating_area_m2,omitempty" jsonschema:"minimum=0,maximum=1000"`
}

// Radiator is rated per EN 442.
type Radiator struct {
	Name     string  `yaml:"name,omitempty"`
	OutputW  float64 `yaml:"output_w" jsonschema:"exclusiveMinimum=0,maximum=50000"`
	RatedAtK float64 `yaml:"rated_at_k,omitempty" jsonschema:"minimum=10,maximum=80,description=Excess temperature of the rating; 50 when not given"`
	Exponent float64 `yaml:"exponent,omitempty" jsonschema:"minimum=1,maximum=1.6,description=EN 442 exponent; 1.3 when not given"`
}

// HotWater is the cylinder and how it is meant to run.
type HotWater struct {
	CylinderL       *float64   `yaml:"cylinder_l,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	TargetTempC     *float64   `yaml:"target_temp_c,omitempty" jsonschema:"minimum=30,maximum=80"`
	HygieneTempC    *float64   `yaml:"hygiene_temp_c,omitempty" jsonschema:"minimum=50,maximum=80,description=Temperature the store is to reach regularly by local rules"`
	HygieneInterval *float64   `yaml:"hygiene_interval_d,omitempty" jsonschema:"minimum=1,maximum=60"`
	Schedule        []TimeSpan `yaml:"schedule,omitempty"`
}

// TimeSpan is a span of the local day.
type TimeSpan struct {
	From string `yaml:"from" jsonschema:"pattern=^[0-2][0-9]:[0-5][0-9]$"`
	To   string `yaml:"to" jsonschema:"pattern=^[0-2][0-9]:[0-5][0-9]$"`
}

// Tariff prices energy; coldweek has no prices of its own.
type Tariff struct {
	Currency          string          `yaml:"currency,omitempty" jsonschema:"pattern=^[A-Z]{3}$"`
	PricePerKWh       *float64        `yaml:"price_per_kwh,omitempty" jsonschema:"minimum=0,maximum=100"`
	TimeOfUse         []TimeOfUseRate `yaml:"time_of_use,omitempty"`
	CarbonKgPerKWh    *float64        `yaml:"carbon_kg_per_kwh,omitempty" jsonschema:"minimum=0,maximum=3"`
	FormerFuel        string          `yaml:"former_fuel,omitempty"`
	FormerPricePerKWh *float64        `yaml:"former_price_per_kwh,omitempty" jsonschema:"minimum=0,maximum=100"`
	FormerEfficiency  *float64        `yaml:"former_efficiency,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1.1"`
	FormerCarbonKgKWh *float64        `yaml:"former_carbon_kg_per_kwh,omitempty" jsonschema:"minimum=0,maximum=3"`
}

// TimeOfUseRate is a price that holds in a span of the local day.
type TimeOfUseRate struct {
	TimeSpan    `yaml:",inline"`
	PricePerKWh float64 `yaml:"price_per_kwh" jsonschema:"minimum=0,maximum=100"`
}

// Contact is who looks after the plant and who lives with it.
type Contact struct {
	Engineer       string `yaml:"engineer,omitempty"`
	EngineerPhone  string `yaml:"engineer_phone,omitempty"`
	EngineerEmail  string `yaml:"engineer_email,omitempty" jsonschema:"format=email"`
	Homeowner      string `yaml:"homeowner,omitempty"`
	HomeownerEmail string `yaml:"homeowner_email,omitempty" jsonschema:"format=email"`
}

// Visit is a set of spot readings taken on site.
type Visit struct {
	Time     string        `yaml:"time" jsonschema:"format=date-time"`
	By       string        `yaml:"by,omitempty"`
	Note     string        `yaml:"note,omitempty"`
	Readings []SpotReading `yaml:"readings,omitempty"`
}

// SpotReading is one value read with a hand-held instrument.
type SpotReading struct {
	Channel ingest.Channel `yaml:"channel"`
	Value   float64        `yaml:"value"`
	Unit    ingest.Unit    `yaml:"unit,omitempty"`
}

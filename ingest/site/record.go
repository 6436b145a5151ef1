package site

import (
	"time"

	"coldweek/ingest"
)

// Record is one installation. Keys carry their units. The limits of each value
// stand in the jsonschema tags, for Parse and for Schema alike; a key without
// omitempty is required. Values are as given; what was not given is nil or
// empty.
type Record struct {
	ID           string                    `yaml:"id" jsonschema:"pattern=^[a-z0-9][a-z0-9_-]{0\\,62}$,description=Short name used in topics; the file is named after it"`
	Name         string                    `yaml:"name,omitempty" jsonschema:"description=What people call the house"`
	TimeZone     string                    `yaml:"time_zone" jsonschema:"description=IANA name such as Europe/London; local days follow it"`
	Location     *Location                 `yaml:"location,omitempty" jsonschema:"description=Where the house stands"`
	Design       *Design                   `yaml:"design,omitempty" jsonschema:"description=What the heat loss calculation and the emitter sizing said"`
	HeatPump     *HeatPump                 `yaml:"heat_pump,omitempty" jsonschema:"description=The machine and what flows through its heat meter"`
	HeatingCurve *HeatingCurve             `yaml:"heating_curve,omitempty" jsonschema:"description=Weather compensation as set in the controller"`
	Commissioned *Commissioned             `yaml:"commissioned,omitempty" jsonschema:"description=What was measured on commissioning day"`
	Metering     *Metering                 `yaml:"metering,omitempty" jsonschema:"description=What the meters cover and how good they are"`
	Channels     map[ingest.Channel]Source `yaml:"channels,omitempty" jsonschema:"description=Where each channel comes from; the default topics and column names need no entry"`
	Pipework     *Pipework                 `yaml:"pipework,omitempty" jsonschema:"description=The pipes from the heat pump outwards"`
	Emitters     *Emitters                 `yaml:"emitters,omitempty" jsonschema:"description=The rooms and what heats them"`
	HotWater     *HotWater                 `yaml:"hot_water,omitempty" jsonschema:"description=The cylinder and how it is meant to run"`
	Limits       *Limits                   `yaml:"limits,omitempty" jsonschema:"description=What counts as out of the ordinary here"`
	Tariff       *Tariff                   `yaml:"tariff,omitempty" jsonschema:"description=Prices for the performance note"`
	Contact      *Contact                  `yaml:"contact,omitempty" jsonschema:"description=Who looks after the plant and who lives with it"`
	Note         *Note                     `yaml:"note,omitempty" jsonschema:"description=How the monthly performance note goes out"`
	Visits       []Visit                   `yaml:"visits,omitempty" jsonschema:"description=Spot readings taken on site"`

	zone   *time.Location
	source *source
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
	OutdoorTempC          *float64 `yaml:"outdoor_temp_c,omitempty" jsonschema:"minimum=-50,maximum=15,description=Outdoor temperature the heat loss was worked out for"`
	RoomTempC             *float64 `yaml:"room_temp_c,omitempty" jsonschema:"minimum=5,maximum=30,description=Room temperature the heat loss was worked out for"`
	HeatLossKW            *float64 `yaml:"heat_loss_kw,omitempty" jsonschema:"exclusiveMinimum=0,maximum=500,description=Heat loss of the house at the design temperatures"`
	FlowTempC             *float64 `yaml:"flow_temp_c,omitempty" jsonschema:"minimum=20,maximum=90,description=Flow temperature planned at the design outdoor temperature"`
	FlowReturnDifferenceK *float64 `yaml:"flow_return_difference_k,omitempty" jsonschema:"minimum=1,maximum=30,description=Flow minus return planned at design load"`
}

// HeatPump is the machine.
type HeatPump struct {
	Maker                   string        `yaml:"maker,omitempty"`
	Model                   string        `yaml:"model,omitempty"`
	RatedHeatKW             *float64      `yaml:"rated_heat_kw,omitempty" jsonschema:"exclusiveMinimum=0,maximum=500,description=Heat output on the plate"`
	MinimumHeatKW           *float64      `yaml:"minimum_heat_kw,omitempty" jsonschema:"minimum=0,maximum=500,description=Lowest output the machine can hold without stopping"`
	MinimumFlowLPH          *float64      `yaml:"minimum_flow_lph,omitempty" jsonschema:"minimum=0,maximum=100000,description=Flow the maker asks for at least"`
	Fluid                   string        `yaml:"fluid,omitempty" jsonschema:"enum=water,enum=propylene_glycol,enum=ethylene_glycol,description=What flows through the heat meter"`
	FluidConcentrationPct   *float64      `yaml:"fluid_concentration_pct,omitempty" jsonschema:"minimum=10,maximum=60,description=Glycol in the mixture; say by volume or by mass"`
	FluidConcentrationBasis string        `yaml:"fluid_concentration_basis,omitempty" jsonschema:"enum=volume,enum=mass"`
	LaboratoryPoints        []LabPoint    `yaml:"laboratory_points,omitempty" jsonschema:"description=Test points per EN 14511"`
	PumpCurve               []PumpPoint   `yaml:"pump_curve,omitempty" jsonschema:"description=Head the circulation pump has left for the pipework"`
	PumpSettings            []PumpSetting `yaml:"pump_settings,omitempty" jsonschema:"description=Instead of pump_curve: the curve of each setting of the pump"`
	PumpSetting             string        `yaml:"pump_setting,omitempty" jsonschema:"description=The setting the pump runs on; one of pump_settings"`
}

// PumpSetting is the pump curve on one of the pump's settings.
type PumpSetting struct {
	Name   string      `yaml:"name" jsonschema:"description=What the pump or its controller calls the setting"`
	Points []PumpPoint `yaml:"points" jsonschema:"minItems=1"`
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
	Points       []CurvePoint `yaml:"points,omitempty" jsonschema:"minItems=2,description=Any order; the flow temperature falls as it gets warmer outside"`
	MinimumFlowC *float64     `yaml:"minimum_flow_temp_c,omitempty" jsonschema:"minimum=10,maximum=80,description=Lowest flow temperature the controller asks for"`
	MaximumFlowC *float64     `yaml:"maximum_flow_temp_c,omitempty" jsonschema:"minimum=20,maximum=90,description=Highest flow temperature the controller asks for"`
}

// CurvePoint pairs an outdoor with a flow temperature.
type CurvePoint struct {
	OutdoorTempC float64 `yaml:"outdoor_temp_c" jsonschema:"minimum=-50,maximum=30"`
	FlowTempC    float64 `yaml:"flow_temp_c" jsonschema:"minimum=10,maximum=90"`
}

// Commissioned is what was measured on commissioning day.
type Commissioned struct {
	Date        string        `yaml:"date,omitempty" jsonschema:"format=date"`
	FlowRateLPH *float64      `yaml:"flow_rate_lph,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100000,description=Total flow with all circuits open"`
	Circuits    []CircuitFlow `yaml:"circuits,omitempty" jsonschema:"description=Flow of each circuit; they add up to the total"`
}

// CircuitFlow is the commissioned flow of one circuit.
type CircuitFlow struct {
	Name        string  `yaml:"name"`
	FlowRateLPH float64 `yaml:"flow_rate_lph" jsonschema:"exclusiveMinimum=0,maximum=100000"`
}

// Metering says what the meters cover and how good they are.
type Metering struct {
	ElectricityCovers []string          `yaml:"electricity_covers,omitempty" jsonschema:"uniqueItems=true,enum=compressor,enum=fan,enum=controls,enum=backup_heater,enum=circulation_pump,enum=immersion_heater,description=What the electricity meter sees; sets the SPF boundary"`
	HeatMeter         *HeatMeter        `yaml:"heat_meter,omitempty"`
	ElectricityMeter  *ElectricityMeter `yaml:"electricity_meter,omitempty"`
	SensorPairs       []SensorPair      `yaml:"sensor_pairs,omitempty"`
}

// HeatMeter is class per EN 1434-1 and where its flow sensor sits.
type HeatMeter struct {
	Class              int      `yaml:"class,omitempty" jsonschema:"enum=1,enum=2,enum=3,description=Accuracy class per EN 1434-1"`
	Position           string   `yaml:"position,omitempty" jsonschema:"enum=flow,enum=return,description=The pipe that holds the flow sensor; return when not given"`
	PermanentFlowM3H   *float64 `yaml:"permanent_flow_m3h,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100,description=qp on the meter's plate"`
	MinimumDifferenceK *float64 `yaml:"minimum_difference_k,omitempty" jsonschema:"exclusiveMinimum=0,maximum=20,description=Smallest temperature difference on the meter's plate"`
	AfterBackupHeater  bool     `yaml:"after_backup_heater,omitempty" jsonschema:"description=The heat meter also sees the backup heater's heat"`
}

// ElectricityMeter is class per EN 50470-3.
type ElectricityMeter struct {
	Class string `yaml:"class,omitempty" jsonschema:"enum=A,enum=B,enum=C,description=Accuracy class per EN 50470-3"`
}

// SensorPair is what is known of a flow and return sensor pair.
type SensorPair struct {
	Flow        ingest.Channel `yaml:"flow"`
	Return      ingest.Channel `yaml:"return"`
	PairErrorK  *float64       `yaml:"pair_error_k,omitempty" jsonschema:"minimum=0,maximum=5,description=95 % limit of the error of the difference"`
	OffsetK     *float64       `yaml:"offset_k,omitempty" jsonschema:"minimum=-10,maximum=10,description=Flow minus return when both are equally warm"`
	ApplyOffset bool           `yaml:"apply_offset,omitempty" jsonschema:"description=Take offset_k off the measured difference"`
}

// Source is where a channel comes from: an MQTT topic, a file's column or
// both. What it does not name is the default: DefaultTopic, the column of
// ingest.Channel.ColumnName, the canonical unit.
type Source struct {
	Topic       string            `yaml:"topic,omitempty" jsonschema:"description=MQTT topic without wildcards; the default topic when not given"`
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

// Leg is a length of pipe pair and what hangs on it. With Parallel, length,
// fittings and setter are those of each of the equal pairs.
type Leg struct {
	Name                  string      `yaml:"name"`
	Material              string      `yaml:"material" jsonschema:"enum=copper,enum=multilayer,enum=pex,enum=steel"`
	Size                  string      `yaml:"size" jsonschema:"pattern=^[0-9]+([.][0-9]+)?x[0-9]+([.][0-9]+)?$,description=Outside diameter x wall in mm such as 28x0.9"`
	LengthM               float64     `yaml:"length_m" jsonschema:"minimum=0,maximum=1000,description=Flow and return together"`
	Parallel              int         `yaml:"parallel,omitempty" jsonschema:"minimum=1,maximum=64,description=Equal pairs or loops side by side"`
	FloorLoop             bool        `yaml:"floor_loop,omitempty" jsonschema:"description=The leg is a loop of floor heating"`
	Fittings              []Fitting   `yaml:"fittings,omitempty" jsonschema:"description=Of flow and return together; what the leg serves counts as one"`
	FlowSetter            *FlowSetter `yaml:"flow_setter,omitempty" jsonschema:"description=The valve that sets the flow of the leg"`
	ServesKW              *float64    `yaml:"serves_kw,omitempty" jsonschema:"minimum=0,maximum=500"`
	ServesRoom            string      `yaml:"serves_room,omitempty" jsonschema:"description=A room of emitters; its design_loss_w is the load"`
	FlowReturnDifferenceK *float64    `yaml:"flow_return_difference_k,omitempty" jsonschema:"minimum=1,maximum=30,description=Of what this leg and those below it serve; the design's when not given"`
	Legs                  []Leg       `yaml:"legs,omitempty"`
}

// Fitting is a pressure loss by resistance coefficient or by Kv. A common name
// such as elbow needs neither.
type Fitting struct {
	Name  string  `yaml:"name"`
	Zeta  float64 `yaml:"zeta,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000,description=Resistance coefficient; the common one when the name has one"`
	KvM3H float64 `yaml:"kv_m3h,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000,description=Instead of zeta: the flow at which it takes 1 bar"`
	Count int     `yaml:"count,omitempty" jsonschema:"minimum=1,maximum=1000"`
}

// FlowSetter is a valve with a scale that sets a leg's flow.
type FlowSetter struct {
	KvM3H      float64  `yaml:"kv_m3h" jsonschema:"exclusiveMinimum=0,maximum=1000,description=Flow at which it takes 1 bar fully open"`
	SetLPH     *float64 `yaml:"set_lph,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100000,description=Flow it is set to; fully open when not given"`
	MaximumLPH *float64 `yaml:"maximum_lph,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100000,description=End of its scale"`
}

// Emitters are the rooms and what heats them.
type Emitters struct {
	Rooms []Room `yaml:"rooms"`
}

// Room is one heated room.
type Room struct {
	Place       string     `yaml:"place" jsonschema:"description=Room of the channel room_temp/PLACE"`
	SetTempC    *float64   `yaml:"set_temp_c,omitempty" jsonschema:"minimum=5,maximum=30,description=Room temperature that was promised"`
	DesignLossW *float64   `yaml:"design_loss_w,omitempty" jsonschema:"minimum=0,maximum=100000,description=Heat loss of the room at the design temperatures"`
	Circuit     string     `yaml:"circuit,omitempty" jsonschema:"description=Circuit that feeds the room"`
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
	CylinderL       *float64   `yaml:"cylinder_l,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000,description=Volume of the store"`
	TargetTempC     *float64   `yaml:"target_temp_c,omitempty" jsonschema:"minimum=30,maximum=80,description=Temperature at which charging ends"`
	HygieneTempC    *float64   `yaml:"hygiene_temp_c,omitempty" jsonschema:"minimum=50,maximum=80,description=Temperature the store is to reach regularly by local rules"`
	HygieneInterval *float64   `yaml:"hygiene_interval_d,omitempty" jsonschema:"minimum=1,maximum=60,description=Days from one hygiene run to the next"`
	Schedule        []TimeSpan `yaml:"schedule,omitempty" jsonschema:"description=When the store may be charged; always when not given"`
}

// Limits are what counts as out of the ordinary on this site.
type Limits struct {
	ShortRunMinutes   *float64 `yaml:"short_run_minutes,omitempty" jsonschema:"minimum=1,maximum=120,description=Compressor runs below this are short; 10 when not given"`
	PipeVelocityMPerS *float64 `yaml:"pipe_velocity_m_per_s,omitempty" jsonschema:"minimum=0.1,maximum=5,description=Water faster than this gets a remark; 1 when not given"`
	PipeLossPaPerM    *float64 `yaml:"pipe_loss_pa_per_m,omitempty" jsonschema:"minimum=10,maximum=5000,description=Friction above this gets a remark; 300 when not given"`
}

// TimeSpan is a span of the local day, From included and To not. A span whose
// To is before its From runs over midnight.
type TimeSpan struct {
	From string `yaml:"from" jsonschema:"pattern=^([01][0-9]|2[0-3]):[0-5][0-9]$"`
	To   string `yaml:"to" jsonschema:"pattern=^([01][0-9]|2[0-3]):[0-5][0-9]$"`
}

// Tariff prices energy; coldweek has no prices of its own.
type Tariff struct {
	Currency          string          `yaml:"currency,omitempty" jsonschema:"pattern=^[A-Z]{3}$,description=ISO 4217 code such as EUR"`
	PricePerKWh       *float64        `yaml:"price_per_kwh,omitempty" jsonschema:"minimum=0,maximum=100,description=Price of electricity outside the spans of time_of_use"`
	TimeOfUse         []TimeOfUseRate `yaml:"time_of_use,omitempty" jsonschema:"description=Spans of the day with another price; they do not overlap"`
	CarbonKgPerKWh    *float64        `yaml:"carbon_kg_per_kwh,omitempty" jsonschema:"minimum=0,maximum=3"`
	FormerFuel        string          `yaml:"former_fuel,omitempty" jsonschema:"description=What heated the house before"`
	FormerPricePerKWh *float64        `yaml:"former_price_per_kwh,omitempty" jsonschema:"minimum=0,maximum=100"`
	FormerEfficiency  *float64        `yaml:"former_efficiency,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1.1,description=Heat per energy bought; a ratio such as 0.85"`
	FormerCarbonKgKWh *float64        `yaml:"former_carbon_kg_per_kwh,omitempty" jsonschema:"minimum=0,maximum=3"`
	CarbonSource      string          `yaml:"carbon_source,omitempty" jsonschema:"description=Where the carbon factors come from and of which year they are"`
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

// When a note goes out by itself.
const (
	SendAfterRelease = "after_release" // what holds when nothing is given
	SendAtOnce       = "at_once"
	SendNever        = "never"
)

// Note says how the monthly performance note goes out.
type Note struct {
	Language string `yaml:"language,omitempty" jsonschema:"pattern=^[a-z]{2\\,3}$,description=Such as en or de; English when not given"`
	Send     string `yaml:"send,omitempty" jsonschema:"enum=after_release,enum=at_once,enum=never,description=A draft waits for the engineer's release unless this says at_once; never makes no drafts"`
}

// Visit is a set of spot readings taken on site.
type Visit struct {
	Time     string        `yaml:"time" jsonschema:"format=date-time,description=RFC 3339 such as 2025-11-20T10:30:00+01:00"`
	By       string        `yaml:"by,omitempty"`
	Note     string        `yaml:"note,omitempty"`
	Readings []SpotReading `yaml:"readings,omitempty"`
}

// SpotReading is one value read with a hand-held instrument.
type SpotReading struct {
	Channel ingest.Channel `yaml:"channel"`
	Value   float64        `yaml:"value" jsonschema:"description=In the unit given"`
	Unit    ingest.Unit    `yaml:"unit,omitempty" jsonschema:"description=The canonical unit when not given"`
}

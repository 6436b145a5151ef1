package job

import (
	"time"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/curve"
	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/efficiency"
	"coldweek/analysis/flowrate"
	"coldweek/analysis/heatloss"
	"coldweek/analysis/season"
)

// Result is the answer to `coldweek analyse --json`. A nil pointer is null in
// JSON: not known.
type Result struct {
	Site     string    `json:"site"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"` // exclusive
	Coverage float64   `json:"coverage"`

	Heat         Heat         `json:"heat"`
	Electricity  Electricity  `json:"electricity"`
	Efficiency   Efficiency   `json:"efficiency"`
	Defrost      Defrost      `json:"defrost"`
	Cycling      Cycling      `json:"cycling"`
	HotWater     HotWater     `json:"hot_water"`
	Flow         Flow         `json:"flow"`
	HeatingCurve HeatingCurve `json:"heating_curve"`
	HeatLoss     HeatLoss     `json:"heat_loss"`
	Capacity     Capacity     `json:"capacity"`
	Comfort      Comfort      `json:"comfort"`
	Days         []Day        `json:"days"`
	Findings     []Finding    `json:"findings"` // null: no rules were run

	// FlowRate and Efficiencies are what Flow and Efficiency are taken from, with
	// the rest that was found; not part of the JSON. Efficiencies is nil when
	// heat or electricity is not known.
	FlowRate     *flowrate.Result   `json:"-"`
	Efficiencies *efficiency.Result `json:"-"`
	// Defrosting and Running say what defrosts cost and why the plant cycles.
	Defrosting defrost.Report `json:"-"`
	Running    cycling.Report `json:"-"`
	// Loss is what HeatLoss is taken from, with the days for a chart.
	Loss *heatloss.Result `json:"-"`
	// Needed is what the house takes by its heat loss; nil is not known. Sizing,
	// Rooms and Cost say more of capacity, comfort and money.
	Needed Needed          `json:"-"`
	Sizing capacity.Report `json:"-"`
	Rooms  comfort.Report  `json:"-"`
	Cost   season.Cost     `json:"-"`
	// Curve is what HeatingCurve is taken from, CurveAdvice whether it may come down.
	Curve       *curve.Fit   `json:"-"`
	CurveAdvice curve.Advice `json:"-"`
	// Emitters is what spot readings say of rooms, and returns of circuits.
	Emitters Emitters `json:"-"`
	// Warnings are doubts about the figures, for people; not part of the JSON.
	Warnings []string `json:"-"`
	// Assumed is what was taken for granted of the meters, for people.
	Assumed []string `json:"-"`
}

// Heat is delivered heat. Net is space plus hot water less what defrosts drew;
// heat that circulates with the compressor off counts in none of them.
type Heat struct {
	SpaceKWh        *float64 `json:"space_kwh"`
	HotWaterKWh     *float64 `json:"hot_water_kwh"`
	DefrostDrawnKWh *float64 `json:"defrost_drawn_kwh"`
	NetKWh          *float64 `json:"net_kwh"`
	UncertaintyPct  *float64 `json:"uncertainty_pct"`
	Source          *string  `json:"source"`
}

// Electricity splits by what the plant was doing; standby is the rest, so the
// parts add up to the total. Backup is a part of the others, not beside them.
type Electricity struct {
	TotalKWh    *float64 `json:"total_kwh"`
	SpaceKWh    *float64 `json:"space_kwh"`
	HotWaterKWh *float64 `json:"hot_water_kwh"`
	DefrostKWh  *float64 `json:"defrost_kwh"`
	StandbyKWh  *float64 `json:"standby_kwh"`
	BackupKWh   *float64 `json:"backup_kwh"`
}

// Efficiency is heat by electricity at the named SPF boundary.
type Efficiency struct {
	Boundary *string  `json:"boundary"`
	Overall  *float64 `json:"overall"`
	Space    *float64 `json:"space"`
	HotWater *float64 `json:"hot_water"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
}

// Defrost sums up defrosts. Shares are ratios, 0 to 1.
type Defrost struct {
	Count                 *int             `json:"count"`
	Minutes               *float64         `json:"minutes"`
	ShareOfRunTime        *float64         `json:"share_of_run_time"`
	ShareOfElectricity    *float64         `json:"share_of_electricity"`
	DrawnKWh              *float64         `json:"drawn_kwh"`
	MedianMinutes         *float64         `json:"median_minutes"`
	MedianIntervalMinutes *float64         `json:"median_interval_minutes"`
	Episodes              []DefrostEpisode `json:"episodes"`
}

// DefrostEpisode is one defrost.
type DefrostEpisode struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	OutdoorC *float64  `json:"outdoor_c"`
	DrawnKWh float64   `json:"drawn_kwh"`
}

// Cycling sums up compressor runs. A start is the compressor going from not
// running to running.
type Cycling struct {
	Starts           *int     `json:"starts"`
	RunHours         *float64 `json:"run_hours"`
	StartsPerRunHour *float64 `json:"starts_per_run_hour"`
	MedianRunMinutes *float64 `json:"median_run_minutes"`
	ShortRuns        *int     `json:"short_runs"`
	Runs             []Run    `json:"runs"`
}

// Run is the compressor running without a stop; kind is heating, hot_water or
// mixed.
type Run struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	Kind string    `json:"kind"`
}

// HotWater lists the chargings of the cylinder.
type HotWater struct {
	Runs []HotWaterRun `json:"runs"`
}

// HotWaterRun is one charging of the cylinder.
type HotWaterRun struct {
	From           time.Time `json:"from"`
	To             time.Time `json:"to"`
	HeatKWh        float64   `json:"heat_kwh"`
	ElectricityKWh float64   `json:"electricity_kwh"`
	PeakFlowC      float64   `json:"peak_flow_c"`
}

// Flow is the flow rate in steady heating and what it should be.
type Flow struct {
	MedianLPH         *float64 `json:"median_lph"`
	P10LPH            *float64 `json:"p10_lph"`
	DesignLPH         *float64 `json:"design_lph"`
	CommissionedLPH   *float64 `json:"commissioned_lph"`
	MinimumLPH        *float64 `json:"minimum_lph"`
	TrendPctPerWeek   *float64 `json:"trend_pct_per_week"`
	MedianDifferenceK *float64 `json:"median_difference_k"`
}

// HeatingCurve is the fitted curve, the set one, and their gap.
type HeatingCurve struct {
	Fitted       FittedCurve `json:"fitted"`
	Set          SetCurve    `json:"set"`
	GapAtDesignK *float64    `json:"gap_at_design_k"`
}

// FittedCurve is what the plant was seen to follow.
type FittedCurve struct {
	SlopeKPerK    *float64 `json:"slope_k_per_k"`
	FlowAtDesignC *float64 `json:"flow_at_design_c"`
	RMSK          *float64 `json:"rms_k"`
	Hours         *float64 `json:"hours"`
}

// SetCurve is what the record says was set.
type SetCurve struct {
	SlopeKPerK    *float64 `json:"slope_k_per_k"`
	FlowAtDesignC *float64 `json:"flow_at_design_c"`
}

// HeatLoss is the fitted loss against the design heat loss.
type HeatLoss struct {
	WPerK         *float64 `json:"w_per_k"`
	WPerKLow      *float64 `json:"w_per_k_low"`
	WPerKHigh     *float64 `json:"w_per_k_high"`
	BaseC         *float64 `json:"base_c"`
	AtDesignKW    *float64 `json:"at_design_kw"`
	LowKW         *float64 `json:"low_kw"`
	HighKW        *float64 `json:"high_kw"`
	NetAtDesignKW *float64 `json:"net_at_design_kw"`
	NetLowKW      *float64 `json:"net_low_kw"`
	NetHighKW     *float64 `json:"net_high_kw"`
	DesignKW      *float64 `json:"design_kw"`
	Ratio         *float64 `json:"ratio"`
	Days          *int     `json:"days"`
	Verdict       *string  `json:"verdict"`
	Why           *string  `json:"why"`
}

// Capacity is what the machine can give. AtDesignKW is its settled output at the
// design outdoor temperature between defrosts, as test points state it: shown at
// full output, else the laboratory's. ShareOfTimeAtFull is of all the time
// measured, null when full output was not reached and there are no test points
// to say that it was far off.
type Capacity struct {
	AtDesignKW        *float64 `json:"at_design_kw"`
	ShareOfTimeAtFull *float64 `json:"share_of_time_at_full"`
	BackupHours       *float64 `json:"backup_hours"`
}

// Comfort is how the rooms held.
type Comfort struct {
	Rooms []RoomComfort `json:"rooms"`
}

// RoomComfort is one room; hours below set are those more than half a kelvin
// below it.
type RoomComfort struct {
	Place         string   `json:"place"`
	MeanC         *float64 `json:"mean_c"`
	P5C           *float64 `json:"p5_c"`
	HoursBelowSet *float64 `json:"hours_below_set"`
}

// Day is one local day in brief.
type Day struct {
	Date           string   `json:"date"`
	Coverage       float64  `json:"coverage"`
	NetKWh         *float64 `json:"net_kwh"`
	SpaceKWh       *float64 `json:"space_kwh"`
	HotWaterKWh    *float64 `json:"hot_water_kwh"`
	ElectricityKWh *float64 `json:"electricity_kwh"`
	OutdoorC       *float64 `json:"outdoor_c"`
	RoomC          *float64 `json:"room_c"`
	Starts         *int     `json:"starts"`
	Defrosts       *int     `json:"defrosts"`
}

// Finding is something an engineer should know.
type Finding struct {
	ID       string         `json:"id"`
	Severity string         `json:"severity"`
	Since    time.Time      `json:"since"`
	Until    *time.Time     `json:"until"`
	Title    string         `json:"title"`
	Evidence map[string]any `json:"evidence"`
	Causes   []string       `json:"causes"`
	Next     []string       `json:"next"`
}

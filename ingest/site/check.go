package site

// remark is something a record may leave out and what it costs.
type remark struct {
	field   string
	missing func(r *Record) bool
	costs   string
	fix     string
}

// Check returns the warnings of a record and what it leaves open: which
// answers stay "not known" or are given with less certainty, and which key
// would change that. All are warnings; those about the most used answers come
// first. The record is one that came through Parse, or any other.
func Check(r *Record) []Problem {
	var found Problems
	if r.source != nil {
		found = append(found, r.source.warnings...)
	}
	for _, m := range remarks {
		if m.missing(r) {
			p := r.problem(m.field, m.costs, m.fix)
			p.Warning = true
			found = append(found, p)
		}
	}
	return found
}

var remarks = []remark{
	{"design.heat_loss_kw", func(r *Record) bool { return r.design().HeatLossKW == nil },
		"not given: the fitted heat loss is not compared with the design", "add the figure of the heat loss calculation"},
	{"design.outdoor_temp_c", func(r *Record) bool { return r.design().OutdoorTempC == nil },
		"not given: nothing is known at design temperature, neither heat loss nor flow temperature nor capacity in hand", "add the outdoor temperature the heat loss was worked out for"},
	{"design.room_temp_c", func(r *Record) bool { return r.design().RoomTempC == nil },
		"not given: the heat loss at design temperatures is not known", "add the room temperature the heat loss was worked out for"},
	{"metering.electricity_covers", func(r *Record) bool { return len(r.metering().ElectricityCovers) == 0 },
		"not given: the boundary of the efficiency (SPF H1 to H4) is not known", "list what the electricity meter sees, such as [compressor, fan, controls]"},
	{"heat_pump.fluid", func(r *Record) bool { return r.heatPump().Fluid == "" },
		"not given: water is assumed, which reads heat some 3 % high when it is a quarter glycol", "write water, propylene_glycol or ethylene_glycol"},
	{"heat_pump.fluid_concentration_pct", func(r *Record) bool { return r.hasGlycol() && r.HeatPump.FluidConcentrationPct == nil },
		"not given: heat is known only within a band, from water to 30 % glycol", "measure it with a refractometer"},
	{"heat_pump.fluid_concentration_basis", func(r *Record) bool {
		return r.HeatPump != nil && r.HeatPump.FluidConcentrationPct != nil && r.HeatPump.FluidConcentrationBasis == ""
	},
		"not given: the concentration is taken to be by volume", "write volume or mass"},
	{"metering.heat_meter.position", func(r *Record) bool { return r.heatMeter().Position == "" },
		"not given: the flow sensor is taken to sit in the return pipe", "write flow or return"},
	{"metering.heat_meter.class", func(r *Record) bool { return r.heatMeter().Class == 0 },
		"not given: heat is taken to be as certain as class 2 promises", "write the class on the plate (EN 1434): 1, 2 or 3"},
	{"metering.heat_meter.permanent_flow_m3h", func(r *Record) bool { return r.heatMeter().PermanentFlowM3H == nil },
		"not given: the error of the heat meter is worked out for 2.5 m³/h", "copy qp from the plate"},
	{"metering.heat_meter.minimum_difference_k", func(r *Record) bool { return r.heatMeter().MinimumDifferenceK == nil },
		"not given: the error of the heat meter is worked out for 3 K", "copy the smallest temperature difference from the plate"},
	{"metering.electricity_meter.class", func(r *Record) bool {
		m := r.metering().ElectricityMeter
		return m == nil || m.Class == ""
	},
		"not given: electricity is taken to be as certain as class B promises", "write the class on the plate (EN 50470): A, B or C"},
	{"commissioned.flow_rate_lph", func(r *Record) bool { return r.commissioned().FlowRateLPH == nil },
		"not given: a loss of flow since commissioning is not seen", "measure it with all circuits open"},
	{"heat_pump.minimum_flow_lph", func(r *Record) bool { return r.heatPump().MinimumFlowLPH == nil },
		"not given: low flow is judged by its own history alone", "add the figure of the data sheet"},
	{"heating_curve.points", func(r *Record) bool { return r.HeatingCurve == nil || len(r.HeatingCurve.Points) == 0 },
		"not given: the curve that runs is not compared with the one that is set", "copy the points from the controller"},
	{"design.flow_temp_c", func(r *Record) bool { return r.design().FlowTempC == nil },
		"not given: the flow temperature is not compared with the design", "add the flow temperature at the design outdoor temperature"},
	{"design.flow_return_difference_k", func(r *Record) bool { return r.design().FlowReturnDifferenceK == nil },
		"not given: the design flow rate is not known", "add the planned difference, such as 5"},
	{"heat_pump.rated_heat_kw", func(r *Record) bool {
		return r.heatPump().RatedHeatKW == nil && len(r.heatPump().LaboratoryPoints) == 0
	},
		"not given: the capacity in hand on the coldest day is not known", "add it or laboratory_points of the data sheet"},
	{"heat_pump.minimum_heat_kw", func(r *Record) bool { return r.heatPump().MinimumHeatKW == nil },
		"not given: whether short cycling comes from the size of the machine is not known", "add the lowest output of the data sheet"},
	{"emitters.rooms", func(r *Record) bool { return r.Emitters == nil || len(r.Emitters.Rooms) == 0 },
		"not given: hours below the promised room temperature are not known", "list the rooms with place and set_temp_c"},
	{"hot_water.target_temp_c", func(r *Record) bool { return r.HotWater != nil && r.HotWater.TargetTempC == nil },
		"not given: whether hot water runs reach their target is not known", "copy it from the controller"},
	{"pipework", func(r *Record) bool { return r.Pipework == nil },
		"not given: coldweek design has nothing to work out", "list the legs from the heat pump outwards"},
	{"heat_pump.pump_curve", func(r *Record) bool {
		return r.Pipework != nil && len(r.heatPump().PumpCurve) == 0 && len(r.heatPump().PumpSettings) == 0
	},
		"not given: whether the pipework runs without separation is not known", "copy the head left for the pipework from the data sheet"},
	{"tariff.price_per_kwh", func(r *Record) bool { return r.Tariff == nil || r.Tariff.PricePerKWh == nil },
		"not given: the performance note names no cost", "add the price and its currency"},
	{"tariff.currency", func(r *Record) bool { return r.Tariff != nil && r.Tariff.PricePerKWh != nil && r.Tariff.Currency == "" },
		"not given: prices have no currency", "add a code such as EUR"},
	{"tariff.former_efficiency", func(r *Record) bool {
		t := r.Tariff
		return t != nil && t.FormerEfficiency == nil && (t.FormerPricePerKWh != nil || t.FormerCarbonKgKWh != nil)
	},
		"not given: the former heating is not compared with", "add a ratio such as 0.85"},
	{"contact.engineer", func(r *Record) bool { return r.Contact == nil || r.Contact.Engineer == "" },
		"not given: the performance note names nobody to call", "add a name and engineer_phone"},
}

func (r *Record) hasGlycol() bool {
	return r.HeatPump != nil && r.HeatPump.Fluid != "" && r.HeatPump.Fluid != "water"
}

// A section that is not given reads as an empty one.

func (r *Record) design() *Design             { return orEmpty(r.Design) }
func (r *Record) heatPump() *HeatPump         { return orEmpty(r.HeatPump) }
func (r *Record) metering() *Metering         { return orEmpty(r.Metering) }
func (r *Record) heatMeter() *HeatMeter       { return orEmpty(r.metering().HeatMeter) }
func (r *Record) commissioned() *Commissioned { return orEmpty(r.Commissioned) }

func orEmpty[T any](section *T) *T {
	if section == nil {
		return new(T)
	}
	return section
}

package site

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// checkRules checks what one value alone does not show. Each rule keeps to
// values that were read without a problem, so that a mistake is told once.
func (d *decoder) checkRules(r *Record) {
	d.checkZone(r)
	d.checkOrder()
	d.checkHeatPump(r)
	d.checkCurve(r)
	d.checkCommissioned(r)
	d.checkSmallNumbers()
	d.checkChannels(r)
	d.checkSensorPairs(r)
	d.checkPipework(r)
	d.checkRooms(r)
	d.checkTimes(r)
	d.checkVisits(r)
}

func (d *decoder) checkZone(r *Record) {
	if r.TimeZone == "" {
		return
	}
	zone, ok := loadZone(r.TimeZone)
	if !ok {
		d.report("time_zone", "unknown time zone "+quote(r.TimeZone), zoneFix(r.TimeZone))
		return
	}
	r.zone = zone
}

// orders are pairs of values of which the first is the smaller by what they
// mean.
var orders = []struct {
	low, high string
	orEqual   bool
	warning   bool
	fix       string
}{
	{"design.outdoor_temp_c", "design.room_temp_c", false, false, "swap them"},
	{"design.room_temp_c", "design.flow_temp_c", false, false, "water below room temperature heats nothing: check both"},
	{"heat_pump.minimum_heat_kw", "heat_pump.rated_heat_kw", true, false, "swap them"},
	{"heating_curve.minimum_flow_temp_c", "heating_curve.maximum_flow_temp_c", true, false, "swap them"},
	{"hot_water.target_temp_c", "hot_water.hygiene_temp_c", true, true, "a hygiene run is warmer than a common one: check both"},
	{"heat_pump.minimum_flow_lph", "commissioned.flow_rate_lph", true, true, "open the circuits or check both figures"},
}

func (d *decoder) checkOrder() {
	for _, o := range orders {
		low, isLow := d.numbers[o.low]
		high, isHigh := d.numbers[o.high]
		if !isLow || !isHigh || low < high || o.orEqual && low == high {
			continue
		}
		tell := d.report
		if o.warning {
			tell = d.warn
		}
		tell(o.low, fmt.Sprintf("%s is not below %s (%s)", formatNumber(low), o.high, formatNumber(high)), o.fix)
	}
	d.checkReturn()
}

// checkReturn refuses a design return temperature below the room's.
func (d *decoder) checkReturn() {
	room, isRoom := d.numbers["design.room_temp_c"]
	flow, isFlow := d.numbers["design.flow_temp_c"]
	difference, isDifference := d.numbers["design.flow_return_difference_k"]
	if isRoom && isFlow && isDifference && flow > room && flow-difference <= room {
		d.report("design.flow_return_difference_k",
			fmt.Sprintf("a return of %s °C is not above design.room_temp_c (%s)", formatNumber(flow-difference), formatNumber(room)),
			fmt.Sprintf("write less than %s", formatNumber(flow-room)))
	}
}

func (d *decoder) checkHeatPump(r *Record) {
	if r.HeatPump == nil {
		return
	}
	d.checkConcentration(r.HeatPump)
	d.checkPumpCurve("heat_pump.pump_curve", r.HeatPump.PumpCurve)
	d.checkPumpSettings(r.HeatPump)
}

// Propylene glycol by mass has published properties in a narrower range than
// the other mixtures (Melinder 2010), which the limits of the key cover.
const leastPropyleneMassPct, mostPropyleneMassPct = 15, 57

func (d *decoder) checkConcentration(h *HeatPump) {
	const path = "heat_pump.fluid_concentration_pct"
	pct, given := d.numbers[path]
	switch {
	case !given:
	case h.Fluid == "water":
		d.report(path, "water has no concentration", "leave it out, or write fluid: propylene_glycol or ethylene_glycol")
	case h.Fluid == "" && !d.tried("heat_pump.fluid"):
		d.report(path, "the fluid is not named", "write fluid: propylene_glycol or ethylene_glycol")
	case h.Fluid == "propylene_glycol" && h.FluidConcentrationBasis == "mass" && (pct < leastPropyleneMassPct || pct > mostPropyleneMassPct):
		d.report(path, fmt.Sprintf("%s %% by mass is outside what is published of propylene glycol", formatNumber(pct)),
			fmt.Sprintf("write a number from %d to %d", leastPropyleneMassPct, mostPropyleneMassPct))
	}
}

// tried says whether a key is in the file, readable or not.
func (d *decoder) tried(path string) bool { _, ok := d.at[path]; return ok }

// checkPumpSettings wants one curve, or settings and the one that runs.
func (d *decoder) checkPumpSettings(h *HeatPump) {
	const running = "heat_pump.pump_setting"
	var names []string
	for i, s := range h.PumpSettings {
		path := fmt.Sprintf("heat_pump.pump_settings[%d]", i)
		if s.Name != "" && slices.Contains(names, s.Name) {
			d.report(path+".name", "a second setting "+quote(s.Name), "give each setting its own name")
		}
		names = append(names, s.Name)
		d.checkPumpCurve(path+".points", s.Points)
	}
	switch {
	case len(names) > 0 && len(h.PumpCurve) > 0:
		d.report("heat_pump.pump_curve", "the pump has a curve and settings with curves", "keep one of pump_curve and pump_settings")
	case h.PumpSetting != "" && len(names) == 0:
		d.report(running, "there are no pump_settings to choose from", "add them, or leave it out and give pump_curve")
	case h.PumpSetting != "" && !slices.Contains(names, h.PumpSetting):
		d.report(running, quote(h.PumpSetting)+" is none of pump_settings: "+some(names), wordFix(h.PumpSetting, names))
	case h.PumpSetting == "" && len(names) > 1 && !d.tried(running):
		d.report("heat_pump.pump_settings", "which setting runs is not said", "add pump_setting: "+listed(names))
	}
}

func (d *decoder) checkPumpCurve(list string, points []PumpPoint) {
	for i := 1; i < len(points); i++ {
		path := fmt.Sprintf("%s[%d]", list, i)
		if !d.have(path+".flow_lph", path+".head_kpa", previous(path, i)+".flow_lph", previous(path, i)+".head_kpa") {
			continue
		}
		before, now := points[i-1], points[i]
		if now.FlowLPH <= before.FlowLPH || now.HeadKPa > before.HeadKPa {
			d.report(path, fmt.Sprintf("%s kPa at %s l/h does not follow %s kPa at %s l/h",
				formatNumber(now.HeadKPa), formatNumber(now.FlowLPH), formatNumber(before.HeadKPa), formatNumber(before.FlowLPH)),
				"list the points by rising flow; the head falls")
		}
	}
}

func previous(path string, i int) string {
	return strings.TrimSuffix(path, fmt.Sprintf("[%d]", i)) + fmt.Sprintf("[%d]", i-1)
}

// have says whether all the numbers were read.
func (d *decoder) have(paths ...string) bool {
	return !slices.ContainsFunc(paths, func(p string) bool { _, ok := d.numbers[p]; return !ok })
}

// checkCurve wants a flow temperature that falls as it gets warmer outside.
func (d *decoder) checkCurve(r *Record) {
	if r.HeatingCurve == nil {
		return
	}
	type point struct {
		path            string
		outdoorC, flowC float64
	}
	var points []point
	for i, p := range r.HeatingCurve.Points {
		path := fmt.Sprintf("heating_curve.points[%d]", i)
		if d.have(path+".outdoor_temp_c", path+".flow_temp_c") {
			points = append(points, point{path, p.OutdoorTempC, p.FlowTempC})
		}
	}
	slices.SortStableFunc(points, func(a, b point) int { return cmp.Compare(a.outdoorC, b.outdoorC) })
	for i := 1; i < len(points); i++ {
		colder, warmer := points[i-1], points[i]
		switch {
		case colder.outdoorC == warmer.outdoorC:
			d.report(warmer.path, "a second point at "+formatNumber(warmer.outdoorC)+" °C outside", "keep one of them")
		case warmer.flowC > colder.flowC:
			d.report(warmer.path+".flow_temp_c",
				fmt.Sprintf("the curve rises from %s °C at %s °C outside to %s °C at %s °C", formatNumber(colder.flowC), formatNumber(colder.outdoorC), formatNumber(warmer.flowC), formatNumber(warmer.outdoorC)),
				"the flow temperature falls as it gets warmer outside: check this point and its neighbours")
		}
	}
}

// circuitTolerance is how far the circuits may be from the total: the reading
// error of two flow meters on site (common practice, no source).
const circuitTolerance = 0.05

func (d *decoder) checkCommissioned(r *Record) {
	if r.Commissioned == nil {
		return
	}
	sumLPH, names := 0.0, map[string]bool{}
	for i, c := range r.Commissioned.Circuits {
		path := fmt.Sprintf("commissioned.circuits[%d]", i)
		if c.Name != "" && names[c.Name] {
			d.report(path+".name", "a second circuit "+quote(c.Name), "give each circuit its own name")
		}
		names[c.Name] = true
		if !d.have(path + ".flow_rate_lph") {
			return
		}
		sumLPH += c.FlowRateLPH
	}
	totalLPH, given := d.numbers["commissioned.flow_rate_lph"]
	if given && len(names) > 0 && math.Abs(sumLPH-totalLPH) > circuitTolerance*totalLPH {
		d.warn("commissioned.circuits", fmt.Sprintf("the circuits add up to %s l/h, the total is %s l/h", formatNumber(sumLPH), formatNumber(totalLPH)),
			"measure again or list the circuit that is missing")
	}
}

// smallNumbers are values that are possible but look like another unit: below
// the limit, times the factor is what was meant.
var smallNumbers = []struct {
	ending        string
	below, factor float64
	unit          string
}{
	{"flow_rate_lph", 10, 1000, "m³/h"},
	{"flow_rate_lph", 60, 60, "l/min"},
	{"minimum_flow_lph", 10, 1000, "m³/h"},
	{"minimum_flow_lph", 60, 60, "l/min"},
	{"set_lph", 10, 60, "l/min"},
	{"maximum_lph", 20, 60, "l/min"},
	{"design_loss_w", 10, 1000, "kW"},
	{"output_w", 10, 1000, "kW"},
}

func (d *decoder) checkSmallNumbers() {
	for path, value := range d.numbers {
		for _, s := range smallNumbers {
			if strings.HasSuffix(path, s.ending) && value > 0 && value < s.below {
				d.warn(path, formatNumber(value)+" looks like "+s.unit, "write "+formatNumber(value*s.factor))
				break
			}
		}
	}
}

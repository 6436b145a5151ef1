package review

import (
	"fmt"
	"math"
	"time"

	"coldweek/analysis/robust"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// hygieneCaution defers to local rules, whatever the state.
const hygieneCaution = "Local rules decide which temperature is asked for and how often, not this page. Legionella grow in water of 20 to 45 °C; water of 50 °C and more scalds: see that a mixing valve protects the taps."

// hotWaterTarget holds the highest temperature of the days with a charging against
// the target.
func (w *Week) hotWaterTarget() Point {
	p, targetC := Point{}, w.Limits.HotWaterTargetC
	if targetC != nil {
		p.Limit = Limit{Low: new(*targetC - watch.CylinderShortK), Text: fmt.Sprintf("%.0f °C set, within %g K", *targetC, watch.CylinderShortK), Basis: new(BySetting),
			Source: "the margin for sensor, switching and draw-off is common practice"}
	}
	highsC := w.cylinderHighs()
	if highC, ok := robust.Median(highsC); ok {
		p.value(highC, "°C", 1)
	}
	switch {
	case len(w.Sums.HotWater) == 0:
		w.noHotWater(&p)
	case !w.has(ingest.CylinderTemp):
		p.notKnown("The cylinder's temperature is not measured.", "publish cylinder_temp", "or hold a thermometer to the hot tap after a charging")
	case targetC == nil:
		p.notKnown("The record has no target for the hot water.", "write hot_water.target_temp_c into the site record")
	case p.Value == nil:
		p.notKnown("The cylinder's temperature is missing on the days on which it was charged.", "see why cylinder_temp is missing")
	case *p.Value < *p.Limit.Low:
		p.look(fmt.Sprintf("It gets to %.1f °C on a usual day.", *p.Value), "read the target, the time limit and the timer in the controller", "see at what flow temperature the machine stops, and its messages")
		p.Caution = hygieneCaution
	default:
		p.good(fmt.Sprintf("It gets to %.1f °C on a usual day.", *p.Value))
	}
	return p
}

func (w *Week) noHotWater(p *Point) {
	if w.Sums.KnownS() == 0 {
		p.notKnown("No charging of the cylinder was seen.", "publish mode, or cylinder_temp beside flow_temp and power")
		return
	}
	p.notKnown("No charging of the cylinder was seen.", "if the machine makes the hot water: publish mode or cylinder_temp, so that it shows")
}

// cylinderHighs are those of the days on which the cylinder was charged.
func (w *Week) cylinderHighs() []float64 {
	var highsC []float64
	for i := range w.Days {
		s := &w.Days[i].Sums
		if s.CylinderHighC != nil && len(s.HotWater) > 0 {
			highsC = append(highsC, *s.CylinderHighC)
		}
	}
	return highsC
}

// hotWaterTime says how long chargings take. Whether one is slow depends on its heat
// and its coil as well: the rule says so.
func (w *Week) hotWaterTime() Point {
	p := Point{}
	minutes, heatKW := w.chargings()
	ratedKW := w.Limits.Sensors.RatedHeatW / 1000
	p.Limit = Limit{High: new(float64(watch.LongChargeMinutes)), Text: fmt.Sprintf("%d min, or longer at %.0f %% of the rated heat", watch.LongChargeMinutes, 100*watch.WeakChargeShare), Basis: new(ByPractice),
		Source: "no source; the plant's own earlier chargings count too"}
	middle, ok := robust.Median(minutes)
	if !ok {
		w.noHotWater(&p)
		return p
	}
	p.value(middle, "min", 0)
	powerKW, known := robust.Median(heatKW)
	says := fmt.Sprintf("%s, half of them within %.0f min", count(len(minutes), "charging"), middle)
	if known {
		says += fmt.Sprintf(", at %.1f kW", powerKW)
	}
	switch {
	case !known:
		p.notKnown(says+"; their heat is not known.", "publish flow_rate, flow_temp and return_temp, or heat_output")
	case ratedKW == 0:
		p.notKnown(says+"; the record has no rated heat to hold that against.", "write heat_pump.rated_heat_kw into the site record")
	case middle > *p.Limit.High && powerKW < watch.WeakChargeShare*ratedKW:
		p.look(says+".", "compare the flow rate during charging with that of heating", "compare the heat output with the data sheet")
	default:
		p.good(says + ".")
	}
	return p
}

// chargings are the lengths of those seen whole, and their heat where it is known.
func (w *Week) chargings() (minutes, heatKW []float64) {
	for _, c := range w.Sums.HotWater {
		if c.OpenBefore || c.OpenAfter || w.Sums.GapWithin(c.From, c.To) {
			continue
		}
		length := c.To.Sub(c.From)
		minutes = append(minutes, length.Minutes())
		if c.HeatJ > 0 {
			heatKW = append(heatKW, c.HeatJ/length.Seconds()/1000)
		}
	}
	return minutes, heatKW
}

// hygiene says whether the cylinder was heated through as the record asks.
func (w *Week) hygiene() Point {
	p, wantedC := Point{}, w.Limits.HygieneC
	days := w.Limits.HygieneInterval().Hours() / 24
	if wantedC != nil {
		p.Limit = Limit{Low: new(*wantedC - watch.HygieneNearK), Text: fmt.Sprintf("%.0f °C every %.0f days", *wantedC, days), Basis: new(BySetting),
			Source: "local rules decide what is asked for"}
	}
	highC := math.NaN()
	var at time.Time
	for i := range w.Days {
		if c := w.Days[i].Sums.CylinderHighC; c != nil && !(*c <= highC) {
			highC, at = *c, w.Days[i].From
		}
	}
	p.value(highC, "°C", 1)
	switch {
	case wantedC == nil:
		p.notKnown("The record names no temperature for hygiene.", "look up what local rules ask for, and write hot_water.hygiene_temp_c and hygiene_interval_d into the site record")
	case p.Value == nil:
		p.notKnown("The cylinder's temperature is not measured.", "publish cylinder_temp")
	case highC >= *p.Limit.Low:
		p.good(fmt.Sprintf("It was heated through on %s, to %.0f °C.", at.Format("Mon 2 Jan"), highC))
	default:
		p.notKnown(fmt.Sprintf("It got to %.0f °C at most in these days; the next run is not overdue by what was seen.", highC), "see the hygiene programme's day and hour, and look again after it")
	}
	if p.State != Good {
		p.Caution = hygieneCaution
	}
	return p
}

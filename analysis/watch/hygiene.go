package watch

import (
	"fmt"
	"time"

	"coldweek/analysis/siteday"
)

const (
	// usualHygieneDays is how often a cylinder is heated through where the record names
	// a temperature and no interval (common practice, no source; no rule asks for it
	// everywhere).
	usualHygieneDays = 7
	// hygieneGrace lets a run come late, hygieneNearK lets the sensor sit where it
	// reads a little less.
	hygieneGrace = day
	hygieneNearK = 1
	// cylinderKnown of the time must the cylinder be known for a run to be missed.
	cylinderKnown = 0.9
)

// hygieneMissed tells of a cylinder that did not reach the temperature which the
// record names, in the time it names. What local rules ask for is not known here.
func hygieneMissed(c *Case) []Finding {
	wantedC := c.Limits.HygieneC
	if wantedC == nil {
		return nil
	}
	interval := c.Limits.HygieneInterval()
	var found []Finding
	w := wait{}
	for i := range c.Days {
		d := &c.Days[i]
		if w.from.IsZero() {
			w.from = d.From
		}
		highC := d.Sums.CylinderHighC
		if highC != nil && *highC >= *wantedC-hygieneNearK {
			if w.told {
				found[len(found)-1].Until = d.From
			}
			w = wait{from: d.To}
			continue
		}
		w.add(d)
		if !w.told && !w.long(d.To, interval) {
			continue
		}
		if w.told {
			found = found[:len(found)-1]
		}
		w.told = true
		found = append(found, hygieneFinding(w, d.To, *wantedC, interval))
	}
	return found
}

// wait is the time since the cylinder was last warm enough, in whole days.
type wait struct {
	from          time.Time
	spanS, knownS float64
	highC         float64
	told          bool
}

func (w *wait) add(d *siteday.Day) {
	w.spanS += d.Sums.SpanS
	w.knownS += d.Sums.Cylinder.S
	if d.Sums.CylinderHighC != nil {
		w.highC = max(w.highC, *d.Sums.CylinderHighC)
	}
}

// long says whether the wait is known to be too long.
func (w *wait) long(now time.Time, interval time.Duration) bool {
	return now.Sub(w.from) >= interval+hygieneGrace && w.knownS >= cylinderKnown*w.spanS
}

func hygieneFinding(w wait, now time.Time, wantedC float64, interval time.Duration) Finding {
	waited := now.Sub(w.from)
	return Finding{
		Kind: "hot_water_hygiene", Severity: Attention, Since: w.from.Add(interval),
		Title: fmt.Sprintf("The cylinder has not reached %.0f °C for %s, its highest was %.0f °C", wantedC, spell(waited), w.highC),
		Evidence: []Figure{{"cylinder_high_c", w.highC, "°C", 1}, {"wanted_c", wantedC, "°C", 0}, {"waited_d", waited.Hours() / 24, "d", 0},
			{"interval_d", interval.Hours() / 24, "d", 0}},
		Causes: []string{
			"the hygiene programme is switched off, or its day and hour fall into a blocked time",
			"the immersion or backup heater that should finish it is off or has failed",
			"the machine cannot reach the temperature alone",
			"the sensor sits where the cylinder stays cooler",
		},
		Next: []string{
			"read the hygiene programme's day, hour and temperature in the controller",
			"start it by hand and watch how far it gets",
			"see that the immersion heater has power and its thermostat has not tripped",
		},
		Caution: "Legionella grow in water of 20 to 45 °C. What local rules ask for decides, not this figure, and the sensor does not show every part of the cylinder. Water at these temperatures scalds within seconds: see that a mixing valve protects the taps. Heaters are live at mains voltage: licensed people only.",
	}
}

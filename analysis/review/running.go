package review

import (
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/defrost"
	"coldweek/analysis/operation"
	"coldweek/analysis/robust"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

const (
	// ranEnoughHours of running say how a plant runs, and fewestRuns whether heating
	// runs are short (common practice, no source).
	ranEnoughHours, fewestRuns = 12, 8
)

// defrosts holds the running time between defrosts, and their length, against the
// rules' limits.
func (w *Week) defrosts() Point {
	p, frost := Point{}, &w.Frost
	_, lengths, outdoorC := defrost.Figures(frost.Episodes)
	least := watch.OftenBelowMinutes(medianOf(outdoorC))
	p.Limit = Limit{Low: &least, Basis: new(Published), Source: "Zhu 2015, less what controllers fall short; the length is common practice",
		Text: fmt.Sprintf("%.0f min of running apart, %.0f min long, none above %.0f °C", least, watch.LongDefrostMinutes, float64(watch.FrostFreeC))}
	if frost.Pattern.Intervals > 0 {
		p.value(frost.Pattern.MedianS/60, "min apart", 0)
	}
	length, _ := robust.Median(lengths)
	switch ranH := w.Sums.RunS() / 3600; {
	case ranH < ranEnoughHours:
		p.notKnown(fmt.Sprintf("The compressor ran for %.0f hours only, as far as is known.", ranH), w.makeRunningKnown()...)
	case len(frost.Episodes) == 0:
		p.notKnown(fmt.Sprintf("None was seen in %.0f hours of running.", ranH), "a ground source has none: nothing to do", "else wait for damp air about 0 °C, and look at the coil")
	case p.Value == nil:
		p.notKnown(fmt.Sprintf("%s, no two in a row seen whole.", count(len(frost.Episodes), "defrost")), "wait for damp air about 0 °C")
	case *p.Value < least:
		p.look(fmt.Sprintf("One every %.0f minutes of running is often.", *p.Value), "look at the coil just before and just after a defrost: is there frost, and is it gone?", "read the defrost settings: on demand, not by the clock")
	case length > watch.LongDefrostMinutes:
		p.look(fmt.Sprintf("They last %.0f minutes.", length), "read the temperature at which a defrost ends, and hold the sensor against a thermometer", "see that the flow during a defrost is right")
	default:
		p.good(fmt.Sprintf("%s of %.0f min, one every %.0f min of running.", count(len(frost.Episodes), "defrost"), length, *p.Value))
	}
	return p
}

// medianOf is nil of no values.
func medianOf(values []float64) *float64 {
	if m, ok := robust.Median(values); ok {
		return &m
	}
	return nil
}

// cycling holds the length of heating runs against the rule's.
func (w *Week) cycling() Point {
	p, short := Point{}, w.Limits.ShortRun()
	p.Limit = Limit{Low: new(short.Minutes()), Text: fmt.Sprintf("heating runs of at least %.0f min", short.Minutes()), Basis: new(Published),
		Source: "Uhlmann and Bertsch 2011"}
	heating := w.Runs.Heating
	if heating.Count > 0 {
		p.value(heating.Median.Minutes(), "min", 0)
	}
	startsPerD := float64(w.Runs.Starts) / w.To.Sub(w.From).Hours() * 24
	switch ranH := w.Runs.RunS / 3600; {
	case ranH < ranEnoughHours:
		p.notKnown(fmt.Sprintf("The compressor ran for %.0f hours only, as far as is known.", ranH), w.makeRunningKnown()...)
	case heating.Count >= fewestRuns && heating.Median < short:
		p.look(fmt.Sprintf("Half of %d heating runs are under %.0f minutes.", heating.Count, heating.Median.Minutes()),
			"see in which weather it cycles", "look at the heating curve, the hysteresis and the room thermostats' settings", "see that all circuits are open, so that the machine has its water")
	case heating.Count == 0:
		p.good(fmt.Sprintf("It heated without a stop of its own; %.1f starts a day in all.", startsPerD))
	default:
		p.good(fmt.Sprintf("Half of %s last %s or more; %.1f starts a day in all.", count(heating.Count, "heating run"), long(heating.Median), startsPerD))
	}
	return p
}

// makeRunningKnown says what is missing to see the compressor run.
func (w *Week) makeRunningKnown() []string {
	if w.Sums.KnownS() == 0 {
		return []string{"publish power (W), or mode, and flow_temp and return_temp"}
	}
	return []string{"wait for a week in which it heats for half a day or more"}
}

// backup says what the backup heater gave to the heating.
func (w *Week) backup() Point {
	p, s := Point{}, w.Sums
	mildC := w.Limits.MildC()
	p.Limit = Limit{Text: fmt.Sprintf("no help for %.0f h in weather of %.0f °C or more", float64(watch.BackupMildHours), mildC), Basis: new(ByPractice),
		Source: "heaters are released some kelvin above the design temperature; no source"}
	if w.Limits.DesignOutdoorC == nil {
		p.Limit.Source = "the record has no design outdoor temperature to go by; no source"
	}
	if s.BackupKnownS < w.Enough*s.SpanS {
		says := "It is not measured."
		if s.BackupKnownS > 0 {
			says = "It was measured for a part of the time only."
		}
		p.notKnown(says, "publish backup_power (W), if there is a backup heater", "or read its hours in the controller before and after a cold week")
		return p
	}
	kWh := (s.BackupInJ[operation.Heating] + s.BackupInJ[operation.Defrost]) / joulePerKWh
	p.value(kWh, "kWh", 1)
	if kWh < leastBackupKWh {
		p.good("It gave nothing to the heating.")
	} else {
		p.good(fmt.Sprintf("%.1f kWh while the plant heated, an immersion heater's included, and none of it for long in mild weather.", kWh))
	}
	return p
}

// leastBackupKWh is more than a meter's zero.
const leastBackupKWh = 0.05

// sensors says whether the readings can be believed.
func (w *Week) sensors() Point {
	p := Point{}
	p.Limit = Limit{Low: new(100 * w.Enough), Text: fmt.Sprintf("nothing suspect; %.0f %% measured", 100*w.Enough), Basis: new(ByPractice),
		Source: "no source"}
	if w.Coverage > 0 {
		p.value(100*w.Coverage, "% measured", 0)
	}
	switch {
	case w.Sums.KnownS() == 0 && w.Sums.Outdoor.S == 0:
		p.notKnown("There are no readings of these days.", "see whether the plant publishes, or load its history")
	case w.Coverage == 0:
		p.notKnown(sentence(fmt.Sprintf("heat and electricity are not both measured: %s missing", strings.Join(w.missing(), ", "))), "publish what is missing: only then can readings be held against each other")
	case w.Coverage < w.Enough:
		p.look(fmt.Sprintf("Heat and electricity are known for %.0f %% of the time.", 100*w.Coverage), "see when readings are missing: the gateway, its network, the meter", "load what the gateway kept")
	default:
		p.good(fmt.Sprintf("Nothing suspect; heat and electricity are known for %.0f %% of the time.", 100*w.Coverage))
	}
	return p
}

// missing are the quantities without which there is no heat or no electricity.
func (w *Week) missing() []string {
	var names []string
	if !w.has(ingest.HeatRegister) && !w.has(ingest.HeatOutput) {
		for _, q := range []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate} {
			if !w.has(q) {
				names = append(names, string(q))
			}
		}
	}
	if !w.has(ingest.Power) && !w.has(ingest.ElectricityRegister) {
		names = append(names, string(ingest.Power))
	}
	if len(names) == 0 {
		names = []string{"readings at the same time"}
	}
	return names
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// long writes a length of time.
func long(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

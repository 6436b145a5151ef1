package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/flowrate"
	"coldweek/analysis/job"
)

// writeFlow prints the flow now against what it should be, how it moved, and
// what the pump does while the compressor rests.
func writeFlow(out io.Writer, r *job.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	f := r.FlowRate
	fmt.Fprintf(w, "flow\tmedian %s l/h, difference %s K\n", num(r.Flow.MedianLPH, 0), num(r.Flow.MedianDifferenceK, 1))
	if f.LatestLPH != nil {
		fmt.Fprintf(w, "\tnow %s l/h at high output, difference there %s K; %s\n", num(f.LatestLPH, 0), num(f.HighDifferenceK, 1), flowAgainst(r))
		fmt.Fprintf(w, "\t%s\n", trendWords(f))
	}
	if f.Step != nil {
		fmt.Fprintf(w, "\t%s\n", stepWords(f.Step, r.From.Location()))
	}
	if p := f.Pump; p != nil {
		fmt.Fprintf(w, "pump\t%s\n", pumpWords(p))
	}
	w.Flush()
	fmt.Fprintln(out)
}

// flowAgainst holds the flow now against the record's figures.
func flowAgainst(r *job.Result) string {
	var parts []string
	for _, should := range []struct {
		name string
		lph  *float64
	}{{"commissioned", r.Flow.CommissionedLPH}, {"design", r.Flow.DesignLPH}, {"minimum", r.Flow.MinimumLPH}} {
		if should.lph != nil && *should.lph > 0 {
			parts = append(parts, fmt.Sprintf("%.0f %% of %s %.0f l/h", 100**r.FlowRate.LatestLPH / *should.lph, should.name, *should.lph))
		}
	}
	if len(parts) == 0 {
		return "the record names no flow to hold it against"
	}
	return strings.Join(parts, ", ")
}

func trendWords(f *flowrate.Result) string {
	t := f.Trend
	if t == nil {
		return fmt.Sprintf("no trend to be seen yet (%s)", countOf(len(f.Days), "day"))
	}
	besides := ""
	if f.Step != nil {
		besides = " besides the step"
	}
	p := t.PctPerWeek
	switch {
	case p.High < 0:
		return fmt.Sprintf("falls %.1f %% a week%s (%.1f to %.1f, %d days)", -p.Value, besides, -p.High, -p.Low, t.Days)
	case p.Low > 0:
		return fmt.Sprintf("rises %.1f %% a week%s (%.1f to %.1f, %d days)", p.Value, besides, p.Low, p.High, t.Days)
	}
	return fmt.Sprintf("no trend%s (%+.1f to %+.1f %% a week, %d days)", besides, p.Low, p.High, t.Days)
}

func countOf(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func stepWords(s *flowrate.Step, zone *time.Location) string {
	const day, clock = "2 Jan", "15:04"
	from, to := s.From.In(zone), s.To.In(zone)
	when := fmt.Sprintf("between %s and %s", from.Format(day+" "+clock), to.Format(day+" "+clock))
	switch {
	case from.Format(day+clock) == to.Format(day+clock):
		when = fmt.Sprintf("on %s at %s", from.Format(day), from.Format(clock))
	case from.Format(day) == to.Format(day):
		when = fmt.Sprintf("on %s between %s and %s", from.Format(day), from.Format(clock), to.Format(clock))
	}
	return fmt.Sprintf("stepped %s from %.0f to %.0f l/h (%+.0f %%)", when, s.BeforeLPH, s.AfterLPH, s.ChangePct.Value)
}

func pumpWords(p *flowrate.PumpUse) string {
	words := fmt.Sprintf("%.1f h a day with the compressor off, beyond overrun (%.1f h) and frost protection (%.1f h)", p.IdleHours, p.OverrunHours, p.FrostHours)
	if p.IdleKWh == nil {
		return words
	}
	return words + fmt.Sprintf(", %.2f kWh a day", *p.IdleKWh)
}

// writeEfficiency prints what the SPF is made of.
func writeEfficiency(out io.Writer, r *job.Result) {
	e := r.Efficiencies
	if e == nil {
		return
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	if line := boundaryWords(e); line != "" {
		fmt.Fprintf(w, "SPF\t%s\n", line)
	}
	if e.Space != nil {
		fmt.Fprintf(w, "space heating\tSPF %.2f with its defrosts\n", *e.Space)
	}
	if words := shareWords(r); words != "" {
		fmt.Fprintf(w, "share of Carnot\t%s\n", words)
	}
	if e.Laboratory != nil {
		fmt.Fprintf(w, "laboratory\t%s\n", laboratoryWords(e.Laboratory))
	}
	w.Flush()
	fmt.Fprintln(out)
	writeByTemperature(out, "outdoor °C", e.ByOutdoor)
	writeByTemperature(out, "flow °C", e.ByFlow)
}

// boundaryWords are for plants with sub-meters; one SPF stands in the summary.
func boundaryWords(e *efficiency.Result) string {
	if len(e.Boundaries) < 2 {
		return ""
	}
	var parts []string
	for _, at := range e.Boundaries {
		text := fmt.Sprintf("%s %.2f", at.Boundary, at.SPF)
		if at.Boundary == e.Measured {
			text += " (the electricity meter's)"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", ")
}

func shareWords(r *job.Result) string {
	var parts []string
	for _, s := range []struct {
		name  string
		share *efficiency.Share
	}{{"heating", r.Efficiencies.HeatingShare}, {"hot water", r.Efficiencies.HotWaterShare}} {
		if s.share != nil {
			parts = append(parts, fmt.Sprintf("%s %.2f%s%s", s.name, s.share.Value, doubtOf(r.Efficiency, s.share.Value), judgementWords(s.share)))
		}
	}
	return strings.Join(parts, ", ")
}

// doubtOf carries the SPF's interval over: what makes it doubtful, the meters,
// makes every ratio of heat and electricity so.
func doubtOf(e job.Efficiency, value float64) string {
	if e.Overall == nil || e.Low == nil || e.High == nil {
		return ""
	}
	return fmt.Sprintf(" (%.2f to %.2f)", value**e.Low / *e.Overall, value**e.High / *e.Overall)
}

func judgementWords(s *efficiency.Share) string {
	switch s.Judgement {
	case efficiency.TooHigh:
		return ", too high for any machine: check meters, sensors and units"
	case efficiency.TooLow:
		if s.WithHeater {
			return ", low, with the electricity of heaters in it"
		}
		return ", too low for a sound machine: a fault, constant cycling, or more than the plant on the meter"
	}
	return ""
}

func laboratoryWords(c *efficiency.Comparison) string {
	ratio, ok := c.Ratio()
	if !ok {
		return "not known: the plant did not heat between its test points"
	}
	return fmt.Sprintf("COP %.2f, by its test points %.2f at full output: %.0f %% (%.0f %% of the heat lies between the points)",
		c.FieldCOP, c.LabCOP, 100*ratio, 100*c.HeatShare)
}

// writeByTemperature prints efficiency by a temperature.
func writeByTemperature(out io.Writer, temperature string, rows []efficiency.Row) {
	if len(rows) == 0 {
		return
	}
	byOutdoor := rows[0].FlowC != nil
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "%s\th\theat kWh\tSPF\tshare of Carnot\t", temperature)
	if byOutdoor {
		fmt.Fprint(w, "flow °C\t")
	}
	fmt.Fprintln(w)
	for _, row := range rows {
		fmt.Fprintf(w, "%.0f to %.0f\t%.1f\t%.1f\t%s\t%s\t", row.FromC, row.ToC, row.RunHours, row.HeatKWh, num(row.SPF, 2), num(row.Share, 2))
		if byOutdoor {
			fmt.Fprintf(w, "%s\t", num(row.FlowC, 1))
		}
		fmt.Fprintln(w)
	}
	w.Flush()
	fmt.Fprintln(out)
}

package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"coldweek/analysis/emitter"
	"coldweek/analysis/job"
)

// writeEmitters says what spot readings tell of the rooms, and returns of the
// circuits.
func writeEmitters(out io.Writer, r *job.Result) {
	e := &r.Emitters
	if len(e.Rooms) > 0 {
		fmt.Fprintf(out, "Emitters, by the readings of %s:\n", e.Visit.Format("2 Jan 2006 15:04"))
		w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
		for i := range e.Rooms {
			fmt.Fprintf(w, "  %s\t%s\n", e.Rooms[i].Place, roomWords(&e.Rooms[i]))
		}
		w.Flush()
	}
	if e.Circuits != nil {
		fmt.Fprintf(out, "Circuits: %s\n", circuitWords(e.Circuits))
	}
	if len(e.Rooms) > 0 || e.Circuits != nil {
		fmt.Fprintln(out)
	}
}

func roomWords(o *emitter.Output) string {
	words := map[emitter.Verdict]string{
		emitter.NotKnown: "not known", emitter.Carries: "carries its loss", emitter.Even: "as much as it loses, within what can be told", emitter.Short: "falls short of its loss",
	}
	parts := []string{words[o.Verdict]}
	if o.HeatW != nil {
		parts = append(parts, fmt.Sprintf("gives %s W", within(o.HeatW, 1, 0)))
	}
	if o.NeededW != nil {
		parts = append(parts, fmt.Sprintf("loses %.0f W by design at the temperatures found", *o.NeededW))
	}
	if f := o.Floor; f != nil {
		parts = append(parts, floorWords(f))
	}
	if len(o.Missing) > 0 {
		parts = append(parts, "not read: "+strings.Join(o.Missing, ", "))
	}
	return strings.Join(parts, "; ")
}

func floorWords(f *emitter.Floor) string {
	words := fmt.Sprintf("floor at %.1f °C gives %s W/m²", f.SurfaceC, within(&f.HeatWM2, 1, 0))
	if f.NeededC != nil {
		words += fmt.Sprintf(", it takes %.1f °C", *f.NeededC)
	}
	for _, limit := range f.Limits {
		if limit.Beyond {
			words += fmt.Sprintf(", %.1f °C in one place, beyond EN 1264's %.0f °C (%s)", f.WarmestC, limit.LimitC, limit.Where)
			break
		}
	}
	return words
}

func circuitWords(c *job.Circuits) string {
	if c.Why != "" {
		return "not known: " + c.Why
	}
	parts := make([]string, len(c.Names))
	for i, name := range c.Names {
		share := c.Division.FlowShare[i]
		parts[i] = fmt.Sprintf("%s %.0f %% of the flow (%.0f to %.0f)", name, 100*share.Value, 100*share.Low, 100*share.High)
		if c.SetShare != nil {
			parts[i] += fmt.Sprintf(", commissioned %.0f %%", 100*c.SetShare[i])
		}
		if c.HeatShare != nil {
			parts[i] += fmt.Sprintf(", %.0f %% of the heat", 100*c.HeatShare[i])
		}
	}
	source := "their return sensors"
	if c.FromVisits {
		source = "spot readings of their returns"
	}
	return strings.Join(parts, "; ") + "; from " + source
}

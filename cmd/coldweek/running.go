package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/job"
)

// joulePerKWh turns the sums of days into what is printed.
const joulePerKWh = 3.6e6

// writeCycling says how the compressor ran and, where it cycles, why.
func writeCycling(out io.Writer, r *job.Result) {
	c := &r.Running
	if r.Cycling.Starts == nil || c.RunS == 0 {
		return
	}
	fmt.Fprintf(out, "Cycling: %s\n", cyclingWords(c))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	if c.Busiest != nil {
		fmt.Fprintf(w, "  most starts in an hour\t%d, from %s\n", c.Busiest.Starts, c.Busiest.From.Format("2 Jan 15:04"))
	}
	fmt.Fprintf(w, "  starts per hour of running\t%s\n", num(c.StartsPerRunHour, 2))
	writeLengths(w, "heating runs", c.Heating)
	writeLengths(w, "pauses", c.Pauses)
	w.Flush()
	writeCauses(out, c)
	writeRunBands(out, c)
	fmt.Fprintln(out)
}

// cyclingWords is the verdict in words.
func cyclingWords(c *cycling.Report) string {
	words := map[cycling.Verdict]string{
		cycling.NotKnown: "not known", cycling.Calm: "no trouble", cycling.Frequent: "many starts",
		cycling.Short: "short cycling", cycling.VeryShort: "very short cycling",
	}
	return words[c.Verdict] + "; " + c.Why
}

func writeLengths(w io.Writer, what string, l cycling.Lengths) {
	if l.Count > 0 {
		fmt.Fprintf(w, "  %s\t%d, median %s, eight in ten from %s to %s\n", what, l.Count, span(l.Median), span(l.P10), span(l.P90))
	}
}

// span prints a length of time as people say it.
func span(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	default:
		return fmt.Sprintf("%.1f h", d.Hours())
	}
}

func writeCauses(out io.Writer, c *cycling.Report) {
	if c.Causes == nil {
		return
	}
	fmt.Fprintf(out, "  Why, from %d heating runs, the likeliest first:\n", c.Examined)
	if c.Causes[0].Finding != cycling.Likely {
		fmt.Fprintln(out, "    no cause stands out")
	}
	for _, cause := range c.Causes {
		switch cause.Finding {
		case cycling.Likely:
			if cause.Share < 0.05 {
				continue
			}
			fmt.Fprintf(out, "    %s (%.0f %% of the runs): %s\n", cause.Title, 100*cause.Share, evidence(cause.Evidence))
		case cycling.Unknown:
			fmt.Fprintf(out, "    %s: not known; it would take %s\n", cause.Title, cause.Missing)
		}
	}
}

func evidence(figures []cycling.Figure) string {
	parts := make([]string, len(figures))
	for i, f := range figures {
		parts[i] = fmt.Sprintf("%s %.*f %s", f.Name, f.Decimals, f.Value, f.Unit)
	}
	return strings.Join(parts, ", ")
}

func writeRunBands(out io.Writer, c *cycling.Report) {
	if len(c.ByOutdoor) == 0 || c.Verdict == cycling.Calm {
		return
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "  outdoor °C\trunning h\tstarts\tshort\tmedian heating run\t")
	for _, b := range c.ByOutdoor {
		median := "–"
		if b.Median != nil {
			median = span(*b.Median)
		}
		fmt.Fprintf(w, "  %.0f to %.0f\t%.1f\t%d\t%d\t%s\t\n", b.FromC, b.ToC, b.RunS/3600, b.Starts, b.Short, median)
	}
	w.Flush()
}

// writeDefrosts says what defrosts cost, when they come and what starts them.
func writeDefrosts(out io.Writer, r *job.Result) {
	d := &r.Defrosting
	if len(d.Episodes) == 0 {
		return
	}
	fmt.Fprintf(out, "Defrosts: %s\n", costWords(d))
	fmt.Fprintf(out, "  Started %s\n", patternWords(d.Pattern))
	writeDefrostBands(out, "outdoor °C", d.ByOutdoor)
	writeDefrostBands(out, "humidity %", d.ByHumidity)
	fmt.Fprintln(out)
}

func costWords(d *defrost.Report) string {
	c := d.Cost
	if c == nil {
		return "cost not known: no settled minutes around them"
	}
	words := fmt.Sprintf("%.1f kWh of electricity more than their heat was worth, recovery included", c.ElectricityJ/joulePerKWh)
	if c.MissedHeatJ > 0 {
		words += fmt.Sprintf(", and %.1f kWh of heat missed meanwhile", c.MissedHeatJ/joulePerKWh)
	}
	if p := c.Penalty; p != nil {
		words += fmt.Sprintf("; they take %.1f %% (%.1f to %.1f) off the efficiency, %.2f for %.2f without",
			100*p.Share, 100*p.Low, 100*p.High, p.Net, p.Undisturbed)
	}
	return words + fmt.Sprintf("; rests on %d of %d, %d of them with settled minutes on both sides", c.Known, len(d.Episodes), c.BothSides)
}

func patternWords(p defrost.Pattern) string {
	words := map[defrost.Kind]string{
		defrost.NotKnown: "by what is not known yet", defrost.Demand: "on demand", defrost.Timed: "by the clock, frost or not",
	}
	return words[p.Kind] + ": " + p.Why
}

func writeDefrostBands(out io.Writer, what string, bands []defrost.Band) {
	if len(bands) == 0 {
		return
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "  %s\trunning h\tdefrosts\tminutes\tcost kWh\t\n", what)
	for _, b := range bands {
		cost := "–"
		if b.Known > 0 {
			cost = fmt.Sprintf("%.2f", b.ElectricityJ/joulePerKWh/float64(b.Known)*float64(b.Count))
		}
		if b.Count == 0 {
			cost = ""
		}
		fmt.Fprintf(w, "  %.0f to %.0f\t%.1f\t%d\t%.0f\t%s\t\n", b.From, b.To, b.RunS/3600, b.Count, b.Length.Minutes(), cost)
	}
	w.Flush()
}

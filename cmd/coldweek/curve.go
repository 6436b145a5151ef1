package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"coldweek/analysis/curve"
	"coldweek/analysis/job"
)

// writeCurve says which heating curve the plant follows, and whether it may come
// down.
func writeCurve(out io.Writer, r *job.Result) {
	f := r.Curve
	fmt.Fprintf(out, "Heating curve: %s; %s\n", f.Verdict, f.Why)
	if f.Verdict == curve.Usable {
		writeFit(out, r)
		writeAdvice(out, &r.CurveAdvice)
	}
	fmt.Fprintln(out)
}

func writeFit(out io.Writer, r *job.Result) {
	f := r.Curve
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "  slope\t%s K per K%s\n", within(&f.SlopeKPerK, 1, 2), setWords(r.HeatingCurve.Set.SlopeKPerK, 2, ""))
	if f.FlowAtDesignC != nil {
		fmt.Fprintf(w, "  flow at design\t%s °C%s", within(f.FlowAtDesignC, 1, 1), setWords(r.HeatingCurve.Set.FlowAtDesignC, 1, " °C"))
		if gap := r.HeatingCurve.GapAtDesignK; gap != nil {
			fmt.Fprintf(w, ", %+.1f K from it", *gap)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintf(w, "  stands on\t%.0f h of settled heating, scatter %.1f K, shape %s, outdoors damped by %g h%s\n",
		f.Hours, f.RMSK, f.Shape, f.DampingH, sayWords(f))
	if limits := limitWords(f); limits != "" {
		fmt.Fprintf(w, "  limits\t%s\n", limits)
	}
	if h := f.Hysteresis; h != nil {
		fmt.Fprintf(w, "  runs begin\t%.1f K below it and end %.1f K above (%d and %d runs)\n", h.StartBelowK, h.StopAboveK, h.Starts, h.Stops)
	}
	w.Flush()
}

func setWords(set *float64, decimals int, unit string) string {
	if set == nil {
		return "; what was set is not known"
	}
	return fmt.Sprintf("; set %.*f%s", decimals, *set, unit)
}

func sayWords(f *curve.Fit) string {
	switch {
	case f.RoomSayKPerK != nil:
		return fmt.Sprintf(", %.1f K for each K the rooms are short", *f.RoomSayKPerK)
	case !f.RoomsKnown:
		return "; what the rooms had a say in is not known"
	}
	return ""
}

// limitWords says where the flow stays level. Only a target's limit is the
// controller's for sure.
func limitWords(f *curve.Fit) string {
	what := "the flow stays"
	if f.FromTarget {
		what = "the target stays"
	}
	var parts []string
	if f.LowC != nil {
		parts = append(parts, fmt.Sprintf("%s at %.1f °C in mild weather", what, *f.LowC))
	}
	if f.HighC != nil {
		parts = append(parts, fmt.Sprintf("%s at %.1f °C in the cold", what, *f.HighC))
	}
	return strings.Join(parts, ", ")
}

func writeAdvice(out io.Writer, a *curve.Advice) {
	words := map[curve.Kind]string{
		curve.Unknown: "whether it may come down is not known", curve.Lower: "it may come down", curve.Keep: "leave it as it is", curve.Raise: "it is too low",
	}
	fmt.Fprintf(out, "  Advice: %s; %s\n", words[a.Kind], a.Why)
	if l := a.Lowest; l != nil {
		first := &l.Points[0]
		deciding := ""
		if l.Deciding != "" {
			deciding = ", by the room that needs most: " + l.Deciding
		}
		fmt.Fprintf(out, "  Design day, %.0f °C, will need a flow of %s °C%s\n", first.OutdoorC, within(&first.FlowC, 1, 1), deciding)
		writeLowest(out, l)
	} else if a.Missing != "" && a.Kind != curve.Unknown {
		fmt.Fprintf(out, "  What design day will need is not known: %s\n", a.Missing)
	}
	for i, step := range a.Steps {
		fmt.Fprintf(out, "    %d. %s\n", i+1, step)
	}
	if g := a.Gain; g != nil {
		fmt.Fprintf(out, "  Expected of %.1f K less: SPF of heating up by %s %%, in weather like this\n", g.LowerK, within(&g.SPFPct, 1, 1))
	}
	for _, remark := range a.Remarks {
		fmt.Fprintln(out, "  Mind:", remark)
	}
}

func writeLowest(out io.Writer, l *curve.Lowest) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "  outdoor °C\tlowest flow °C\tcurve above it, K\t")
	for _, p := range l.Points {
		fmt.Fprintf(w, "  %.0f\t%s\t%s\t\n", p.OutdoorC, within(&p.FlowC, 1, 1), within(&p.MarginK, 1, 1))
	}
	w.Flush()
}

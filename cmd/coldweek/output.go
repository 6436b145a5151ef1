package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
)

// output opens a file for writing, or standard output when the path is empty.
func (a *app) output(path string) (io.Writer, func() error, error) {
	if path == "" || path == "-" {
		return a.out, func() error { return nil }, nil
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return nil, nil, fmt.Errorf("open output: %w", err)
	}
	return file, file.Close, nil
}

// mostFindings is how many findings a summary names.
const mostFindings = 3

// writeSummary says in a dozen lines what the rest says in full: what was delivered
// and taken, and whether anything is wrong.
func writeSummary(out io.Writer, r *job.Result) error {
	fmt.Fprintf(out, "%s, %s to %s (%s), coverage %.1f %%\n", r.Site,
		r.From.Format("2 Jan 2006"), r.To.AddDate(0, 0, -1).Format("2 Jan 2006"), r.From.Location(), 100*r.Coverage)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, line := range []struct{ name, words string }{
		{"heat", heatSummary(r)},
		{"electricity", electricitySummary(r)},
		{efficiencyName(r), efficiencySummary(r)},
		{"flow", flowSummary(r)},
		{"cycling", cyclingSummary(r)},
		{"defrosts", defrostSummary(r)},
		{"heat loss", heatLossSummary(r)},
	} {
		fmt.Fprintf(w, "  %s\t%s\n", line.name, line.words)
	}
	for i, words := range findingsSummary(r) {
		name := ""
		if i == 0 {
			name = "findings"
		}
		fmt.Fprintf(w, "  %s\t%s\n", name, words)
	}
	return w.Flush()
}

func efficiencyName(r *job.Result) string {
	if r.Efficiency.Boundary == nil {
		return "efficiency"
	}
	return "SPF " + *r.Efficiency.Boundary
}

func efficiencySummary(r *job.Result) string {
	if r.Efficiency.Overall == nil {
		return "not known"
	}
	return num(r.Efficiency.Overall, 2) + interval(r.Efficiency)
}

// joinedKnown joins the parts of which the figure is known.
func joinedKnown(parts ...knownPart) string {
	var words []string
	for _, p := range parts {
		if p.value != nil {
			words = append(words, fmt.Sprintf(p.format, *p.value))
		}
	}
	return strings.Join(words, ", ")
}

type knownPart struct {
	format string
	value  *float64
}

func heatSummary(r *job.Result) string {
	h := &r.Heat
	if h.NetKWh == nil {
		return "not known"
	}
	return fmt.Sprintf("%.1f kWh: ", *h.NetKWh) + joinedKnown(knownPart{"space %.1f", h.SpaceKWh}, knownPart{"hot water %.1f", h.HotWaterKWh},
		knownPart{"drawn by defrosts %.1f", h.DefrostDrawnKWh})
}

func electricitySummary(r *job.Result) string {
	e := &r.Electricity
	if e.TotalKWh == nil {
		return "not known"
	}
	words := fmt.Sprintf("%.1f kWh", *e.TotalKWh)
	if e.BackupKWh != nil && *e.BackupKWh > 0 {
		words += fmt.Sprintf(", %.1f of it the backup heater's", *e.BackupKWh)
	}
	return words
}

func flowSummary(r *job.Result) string {
	if r.FlowRate == nil || r.FlowRate.LatestLPH == nil {
		return "not known"
	}
	words := fmt.Sprintf("%s l/h at high output; %s", num(r.FlowRate.LatestLPH, 0), flowAgainst(r))
	if r.FlowRate.Step != nil {
		words += "; " + stepWords(r.FlowRate.Step, r.From.Location())
	}
	return words
}

func cyclingSummary(r *job.Result) string {
	if r.Cycling.Starts == nil || r.Running.RunS == 0 {
		return "not known"
	}
	return fmt.Sprintf("%s in %s h of running; %s", counted(*r.Cycling.Starts, "start", "starts"), num(r.Cycling.RunHours, 1), cyclingWords(&r.Running))
}

func defrostSummary(r *job.Result) string {
	if r.Defrost.Count == nil {
		return "not known"
	}
	words := fmt.Sprintf("%d, %s of run time", *r.Defrost.Count, percent(r.Defrost.ShareOfRunTime))
	if cost := r.Defrosting.Cost; cost != nil && cost.Penalty != nil {
		words += fmt.Sprintf("; they take %.1f %% off the efficiency", 100*cost.Penalty.Share)
	}
	return words
}

func heatLossSummary(r *job.Result) string {
	words := string(r.Loss.Verdict)
	if r.Loss.GrossW == nil {
		return words + "; " + r.Loss.Why
	}
	words += ": " + within(r.Loss.GrossW, 1000, 1) + " kW at design"
	if design := r.HeatLoss.DesignKW; design != nil {
		words += fmt.Sprintf(", designed for %.1f", *design)
	}
	return words
}

// findingsSummary names the worst, those that last first.
func findingsSummary(r *job.Result) (lines []string) {
	switch {
	case r.Findings == nil:
		return []string{"not looked for over so long a time"}
	case len(r.Findings) == 0 && r.Coverage == 0:
		return []string{"not known"}
	case len(r.Findings) == 0:
		return []string{"none"}
	}
	rankOf := func(f job.Finding) int { return rank(watch.Severity(f.Severity), f.Until != nil) }
	sorted := slices.SortedStableFunc(slices.Values(r.Findings), func(a, b job.Finding) int { return rankOf(b) - rankOf(a) })
	for _, f := range sorted[:min(mostFindings, len(sorted))] {
		ended := ""
		if f.Until != nil {
			ended = " (ended)"
		}
		lines = append(lines, f.Severity+": "+f.Title+ended)
	}
	if more := len(sorted) - mostFindings; more > 0 {
		lines[len(lines)-1] += fmt.Sprintf("; and %d more, see coldweek findings", more)
	}
	return lines
}

package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coldweek/analysis/pipework"
	"coldweek/ingest/site"
)

// designExample is a record that the help shows; it holds what design needs.
const designExample = `id: mill-cottage
time_zone: Europe/London
design: {flow_temp_c: 45, flow_return_difference_k: 5}
heat_pump:
  fluid: water
  pump_curve: [{flow_lph: 500, head_kpa: 60}, {flow_lph: 1500, head_kpa: 35}]
pipework:
  legs:
    - name: primaries
      material: copper
      size: 28x0.9
      length_m: 18
      fittings: [{name: elbow, count: 8}, {name: strainer, kv_m3h: 9}]
      legs:
        - {name: downstairs, material: copper, size: 22x0.9, length_m: 22, serves_kw: 4.2,
           fittings: [{name: tee branch, count: 2}, {name: radiators and valves, kv_m3h: 3}]}
        - {name: upstairs, material: copper, size: 22x0.9, length_m: 26, serves_kw: 3.1,
           fittings: [{name: tee through, count: 2}, {name: radiators and valves, kv_m3h: 3}]}
`

func newDesign(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "design SITE|FILE",
		Short: "Say whether the pipework carries the load without separation",
		Long: `Work out the pipework of a record: the flow for the load, velocity and loss of
each leg, the index circuit, and whether the heat pump's own pump drives it with
no buffer, header or second pump. The verdict is the head the pump has left at
that flow against the loss of the index circuit; velocity and Pa/m are remarks.
A file is a site record anywhere, before anything is installed:

` + indent(designExample) + `
Exits 0 only when it runs.`,
		Example: `  coldweek design mill-cottage
  coldweek design ./draft.yaml
  coldweek design ./draft.yaml --json | jq .verdict`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			record, err := a.siteOrFile(given[0])
			if err != nil {
				return err
			}
			system, err := pipework.Of(record)
			if err != nil {
				return fmt.Errorf("design %s: %w", given[0], err)
			}
			result := system.Design()
			if err := a.writeDesign(record, result, asJSON); err != nil {
				return err
			}
			if result.Verdict != pipework.Runs {
				return errReported
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

func indent(text string) string {
	return "    " + strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", "\n    ") + "\n"
}

// siteOrFile loads a record by the site's name or from a file anywhere.
func (a *app) siteOrFile(name string) (*site.Record, error) {
	if isPath(name) {
		record, err := site.Load(name)
		if err != nil {
			return nil, usageError{err}
		}
		return record, nil
	}
	h, err := a.openHome()
	if err != nil {
		return nil, err
	}
	return h.record(name)
}

func (a *app) writeDesign(record *site.Record, r *pipework.Result, asJSON bool) error {
	if asJSON {
		return writeJSON(a.out, r)
	}
	name := record.ID
	if record.Name != "" {
		name = record.Name + " (" + record.ID + ")"
	}
	fmt.Fprintf(a.out, "%s: pipework without separation\n\n%s: %s\n\n", name, verdictWords(r.Verdict), r.Why)
	writeDesignSummary(a.out, r)
	writeLegs(a.out, r)
	writeOptions(a.out, r)
	writeList(a.out, "Remarks", r.Remarks)
	writeList(a.out, "Cautions", r.Cautions)
	writeList(a.out, "Assumed", r.Assumed)
	return nil
}

func verdictWords(v pipework.Verdict) string {
	switch v {
	case pipework.Runs:
		return "RUNS without separation"
	case pipework.DoesNot:
		return "DOES NOT RUN without separation"
	}
	return "NOT KNOWN whether it runs without separation"
}

func writeDesignSummary(out io.Writer, r *pipework.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "load\t%.1f kW\n", r.LoadKW)
	fmt.Fprintf(w, "flow needed\t%.0f l/h of %s, %.4g °C flow and %.1f K between flow and return\n", r.FlowLPH, r.Fluid, r.FlowTempC, r.DifferenceK)
	if len(r.IndexLegs) > 0 {
		fmt.Fprintf(w, "index circuit\t%s: %.1f kPa\n", strings.Join(r.IndexLegs, " > "), r.IndexLossKPa)
	}
	fmt.Fprintf(w, "pump%s\t%s\n", settingWords(r), pumpHeadWords(r))
	if p := r.WorkingPoint; p != nil {
		fmt.Fprintf(w, "\tcircuits balanced, it drives %.0f l/h at %.1f kPa\n", p.FlowLPH, p.HeadKPa)
	}
	if p := r.OpenPoint; p != nil {
		fmt.Fprintf(w, "\tevery valve open, it drives %.0f l/h at %.1f kPa\n", p.FlowLPH, p.HeadKPa)
	} else if r.HeadKPa != nil {
		fmt.Fprintf(w, "\tevery valve open, not known: %s\n", r.OpenWhy)
	}
	fmt.Fprintf(w, "largest load\t%s\n", largestWords(r))
	w.Flush()
	fmt.Fprintln(out)
}

func settingWords(r *pipework.Result) string {
	if r.PumpSetting == "" {
		return ""
	}
	return fmt.Sprintf(" on %q", r.PumpSetting)
}

func pumpHeadWords(r *pipework.Result) string {
	switch {
	case r.SpareKPa == nil:
		return "head left at this flow not known"
	case *r.SpareKPa < 0:
		return fmt.Sprintf("%.1f kPa left at this flow: short of %.1f kPa", *r.HeadKPa, -*r.SpareKPa)
	}
	return fmt.Sprintf("%.1f kPa left at this flow: %.1f kPa to spare", *r.HeadKPa, *r.SpareKPa)
}

func largestWords(r *pipework.Result) string {
	switch {
	case r.LargestLoadKW == nil:
		return "not known"
	case r.LargestIsAtLeast:
		return fmt.Sprintf("%.1f kW or more: there the pump curve ends", *r.LargestLoadKW)
	}
	return fmt.Sprintf("%.1f kW at the same difference of flow and return", *r.LargestLoadKW)
}

// writeLegs prints the tree.
func writeLegs(out io.Writer, r *pipework.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "leg (* index circuit)\tpipe\tm\tkW\tl/h\tm/s\tRe\tPa/m\tpipe kPa\tfittings kPa\tloss kPa\tto here kPa\tto balance kPa\topen l/h")
	for _, l := range r.Legs {
		mark := ""
		if l.OnIndex {
			mark = " *"
		}
		pipe := l.Size + " " + l.Material
		if l.Parallel > 1 {
			pipe = fmt.Sprintf("%d x %s", l.Parallel, pipe)
		}
		fmt.Fprintf(w, "%s%s%s\t%s\t%.4g\t%.1f\t%.0f\t%.2f\t%.0f\t%.0f\t%.1f\t%.1f\t%.1f\t%.1f\t%s\t%s\n",
			strings.Repeat("  ", l.Depth), l.Name, mark, pipe, l.LengthM, l.LoadKW, l.FlowLPH, l.VelocityMPerS, l.Reynolds, l.LossPaPerM,
			l.FrictionKPa, l.FittingsKPa+l.SetterKPa, l.LossKPa, l.CircuitLossKPa, blank(l.BalanceKPa, 1), blank(l.OpenFlowLPH, 0))
	}
	w.Flush()
	fmt.Fprintln(out, "To balance: what a valve there has to take so that all circuits cost the same.")
	fmt.Fprintf(out, "Open: how the needed flow divides with every valve open%s.\n\n", whyWords(r.DivisionWhy))
	writeSetters(out, r)
}

func whyWords(why string) string {
	if why == "" {
		return ""
	}
	return "; not known: " + why
}

// writeSetters prints what each flow setter is to be set to, in the unit of
// their scales.
func writeSetters(out io.Writer, r *pipework.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	found := false
	for _, l := range r.Legs {
		if l.Setter == nil {
			continue
		}
		if !found {
			fmt.Fprintln(w, "flow setters\tset each to l/min\tnow")
		}
		found = true
		now := "open"
		if l.Setter.SetLPH > 0 {
			now = fmt.Sprintf("%.2f", l.Setter.SetLPH/minutesPerHour)
		}
		fmt.Fprintf(w, "%s (%d)\t%.2f\t%s\n", l.Name, l.Parallel, l.PairFlowLPH/minutesPerHour, now)
	}
	w.Flush()
	if found {
		fmt.Fprintln(out)
	}
}

const minutesPerHour = 60

// blank leaves a cell empty where there is no value.
func blank(value *float64, digits int) string {
	if value == nil {
		return ""
	}
	return num(value, digits)
}

func writeOptions(out io.Writer, r *pipework.Result) {
	if r.Verdict != pipework.DoesNot {
		return
	}
	if len(r.Options) == 0 {
		fmt.Fprint(out, "What would be right:\n  no single change of pipes, difference or pump setting; look at the fittings, the load and the machine's pump\n\n")
		return
	}
	fmt.Fprintln(out, "What would be right, any one of:")
	for _, o := range r.Options {
		fmt.Fprintf(out, "  - %s\n    (%.1f kPa at %.0f l/h, %.1f kPa to spare)\n", o.Change, o.IndexLossKPa, o.FlowLPH, o.SpareKPa)
	}
	fmt.Fprintln(out)
}

func writeList(out io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(out, "%s:\n", title)
	for _, line := range lines {
		fmt.Fprintf(out, "  - %s\n", line)
	}
	fmt.Fprintln(out)
}

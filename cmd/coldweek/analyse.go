package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coldweek/analysis/job"
	"coldweek/ingest/site"
)

func newAnalyse(a *app) *cobra.Command {
	var from, to string
	var asJSON bool
	c := &cobra.Command{
		Use:   "analyse SITE --from DATE --to DATE",
		Short: "Say what a plant delivered, what it took and how it ran",
		Long: `Analyse a span of whole local days; --to is exclusive. Without dates, the
last seven whole days are taken. What cannot be known is "not known", in JSON
null.`,
		Example: `  coldweek analyse mill-cottage --from 2026-01-01 --to 2026-02-01
  coldweek analyse mill-cottage --from 2026-01-01 --to 2026-02-01 --json | jq .efficiency`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				from, to := windowDates(from, to, time.Now().In(record.Zone()))
				window, err := job.ParseWindow(record, from, to)
				if err != nil {
					return usageError{err}
				}
				bar := a.progress("days")
				result, err := job.Analyse(c.Context(), st, record, window, bar.step)
				bar.done()
				if err != nil {
					return err
				}
				if result.Findings, err = job.FindingsOf(c.Context(), st, record, window, h.watched, nil); err != nil {
					return err
				}
				if asJSON {
					return writeJSON(a.out, result)
				}
				return writeAnalysis(a.out, result)
			})
		},
	}
	c.Flags().StringVar(&from, "from", "", "first local day, as 2026-01-31")
	c.Flags().StringVar(&to, "to", "", "day after the last, as 2026-02-28")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// windowDates fills in dates not given: the last seven whole days.
func windowDates(from, to string, now time.Time) (string, string) {
	if to == "" {
		to = now.Format(time.DateOnly)
	}
	if end, err := time.Parse(time.DateOnly, to); from == "" && err == nil {
		from = end.AddDate(0, 0, -7).Format(time.DateOnly)
	}
	return from, to
}

func writeJSON(w io.Writer, value any) error {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

// writeAnalysis prints the result for people.
func writeAnalysis(out io.Writer, r *job.Result) error {
	if err := writeSummary(out, r); err != nil {
		return err
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	row := func(name string, cells ...string) { fmt.Fprintf(w, "%s\t%s\n", name, strings.Join(cells, "\t")) }
	row("", "total", "space", "hot water", "defrosts", "standby")
	row("heat, kWh", num(r.Heat.NetKWh, 1), num(r.Heat.SpaceKWh, 1), num(r.Heat.HotWaterKWh, 1), num(negated(r.Heat.DefrostDrawnKWh), 1), "")
	row("electricity, kWh", num(r.Electricity.TotalKWh, 1), num(r.Electricity.SpaceKWh, 1), num(r.Electricity.HotWaterKWh, 1),
		num(r.Electricity.DefrostKWh, 1), num(r.Electricity.StandbyKWh, 1))
	row(efficiencyName(r), num(r.Efficiency.Overall, 2)+interval(r.Efficiency), num(r.Efficiency.Space, 2), num(r.Efficiency.HotWater, 2), "", "")
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(out)
	writeRunning(out, r)
	writeCycling(out, r)
	writeDefrosts(out, r)
	writeFlow(out, r)
	writeEfficiency(out, r)
	writeHeatLoss(out, r)
	writeCurve(out, r)
	writeEmitters(out, r)
	writeSizing(out, r)
	writeRooms(out, r)
	writeCost(out, &r.Cost, r.Efficiency.Overall)
	writeDays(out, r)
	for _, warning := range r.Warnings {
		fmt.Fprintln(out, "Doubtful:", warning)
	}
	for _, assumed := range r.Assumed {
		fmt.Fprintln(out, "Assumed:", assumed)
	}
	return nil
}

func writeRunning(out io.Writer, r *job.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "compressor\t%s starts, %s h running, median run %s min, %s short runs\n",
		whole(r.Cycling.Starts), num(r.Cycling.RunHours, 1), num(r.Cycling.MedianRunMinutes, 0), whole(r.Cycling.ShortRuns))
	fmt.Fprintf(w, "defrosts\t%s, median %s min every %s min, %s of run time\n", whole(r.Defrost.Count),
		num(r.Defrost.MedianMinutes, 1), num(r.Defrost.MedianIntervalMinutes, 0), percent(r.Defrost.ShareOfRunTime))
	fmt.Fprintf(w, "hot water\t%s\n", counted(len(r.HotWater.Runs), "charge", "charges"))
	w.Flush()
	fmt.Fprintln(out)
}

func writeDays(out io.Writer, r *job.Result) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "day\theat kWh\telectricity kWh\tSPF\toutdoor °C\troom °C\tstarts\tdefrosts\tcoverage\t")
	for _, d := range r.Days {
		efficiency := "–"
		if d.NetKWh != nil && d.ElectricityKWh != nil && *d.ElectricityKWh > 0 {
			efficiency = fmt.Sprintf("%.2f", *d.NetKWh / *d.ElectricityKWh)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%.0f %%\t\n", d.Date, num(d.NetKWh, 1), num(d.ElectricityKWh, 1), efficiency,
			num(d.OutdoorC, 1), num(d.RoomC, 1), whole(d.Starts), whole(d.Defrosts), 100*d.Coverage)
	}
	w.Flush()
}

// interval prints the 95 % interval of the efficiency.
func interval(e job.Efficiency) string {
	if e.Low == nil || e.High == nil {
		return ""
	}
	return fmt.Sprintf(" (%.2f to %.2f)", *e.Low, *e.High)
}

// num prints a figure, or a dash when it is not known.
func num(v *float64, decimals int) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf("%.*f", decimals, *v)
}

func whole(v *int) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprint(*v)
}

// counted puts a number before its noun.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func percent(v *float64) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100**v)
}

func negated(v *float64) *float64 {
	if v == nil || *v == 0 {
		return v
	}
	n := -*v
	return &n
}

package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coldweek/analysis/job"
	"coldweek/analysis/season"
	"coldweek/ingest/site"
)

// seasonDates are the command's flags.
type seasonDates struct{ from, to, againstFrom, againstTo string }

func newSeason(a *app) *cobra.Command {
	var dates seasonDates
	var asJSON bool
	c := &cobra.Command{
		Use:   "season SITE --from DATE --to DATE",
		Short: "Project a heating season, price a period, compare two periods",
		Long: `Project what a plant will take in a heating season, from the days measured
between --from and --to (exclusive): with the site's own heat loss and its
efficiency by outdoor temperature, in the hours of the period itself and of EN
14825's average, colder and warmer climates. A projection is not a measurement;
heat at outdoor temperatures that were not seen is told, and far from them there
is no projection.

With --against-from and --against-to, the period is compared with another one of
the same site: heat for each degree day (CIBSE TM41), and electricity for the
same heat at the same outdoor temperatures. Without dates, the last seven whole
days are taken; a projection wants some weeks.`,
		Example: `  coldweek season mill-cottage --from 2026-01-01 --to 2026-03-01
  coldweek season mill-cottage --from 2027-01-01 --to 2027-03-01 --against-from 2026-01-01 --against-to 2026-03-01`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withSite(c.Context(), given[0], func(_ home, record *site.Record, st *stores) error {
				window, against, err := dates.windows(record, time.Now())
				if err != nil {
					return usageError{err}
				}
				bar := a.progress("days")
				answer, err := job.LookAhead(c.Context(), st, record, window, against, bar.step)
				bar.done()
				if err != nil {
					return err
				}
				if asJSON {
					return writeJSON(a.out, answer)
				}
				return writeSeason(a.out, answer)
			})
		},
	}
	c.Flags().StringVar(&dates.from, "from", "", "first local day, as 2026-01-31")
	c.Flags().StringVar(&dates.to, "to", "", "day after the last, as 2026-02-28")
	c.Flags().StringVar(&dates.againstFrom, "against-from", "", "first local day of the period to compare with")
	c.Flags().StringVar(&dates.againstTo, "against-to", "", "day after its last")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// windows returns the period and the one to compare with, nil if there is none.
func (d seasonDates) windows(record *site.Record, now time.Time) (job.Window, *job.Window, error) {
	from, to := windowDates(d.from, d.to, now.In(record.Zone()))
	window, err := job.ParseWindow(record, from, to)
	if err != nil || d.againstFrom == "" && d.againstTo == "" {
		return window, nil, err
	}
	against, err := job.ParseWindow(record, d.againstFrom, d.againstTo)
	if err != nil {
		return window, nil, fmt.Errorf("the period to compare with (--against-from, --against-to): %w", err)
	}
	return window, &against, nil
}

// writeSeason prints the answer for people.
func writeSeason(out io.Writer, s *job.Season) error {
	fmt.Fprintf(out, "%s, from what was measured %s to %s (%s)\n\n", s.Site,
		s.From.Format("2 Jan 2006"), s.To.AddDate(0, 0, -1).Format("2 Jan 2006"), s.From.Location())
	writeProjections(out, s)
	writeCost(out, &s.Cost, s.SPF)
	if s.Comparison != nil {
		writeComparison(out, s.Comparison)
	}
	return nil
}

func writeProjections(out io.Writer, s *job.Season) {
	boundary := ""
	if s.Boundary != nil {
		boundary = "SPF " + *s.Boundary + "; "
	}
	fmt.Fprintf(out, "Projected for a heating season (%s95 %% intervals; hot water and standby as in the days measured):\n", boundary)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	known := false
	for _, e := range s.Seasons {
		p := e.Projection
		if p == nil {
			fmt.Fprintf(w, "  %s\tnot known: %s\n", climateName(e.Climate), e.Why)
			continue
		}
		known = true
		fmt.Fprintf(w, "  %s\t%s kWh of heat, %s kWh of electricity, SPF %.2f (%.2f to %.2f)%s\n", climateName(e.Climate),
			rounded(p.HeatKWh), rounded(p.ElectricityKWh), p.SPF.Value, p.SPF.Low, p.SPF.High, besides(e, s.Cost.Currency))
	}
	w.Flush()
	if known {
		fmt.Fprintln(out, "An SCOP on a data sheet is of a laboratory and a standard house: it is not to be held against these.")
	}
	fmt.Fprintln(out)
}

func climateName(climate string) string {
	if climate == job.OwnHours {
		return "the period's own hours"
	}
	return "EN 14825, " + climate
}

// rounded prints energies of a season to ten.
func rounded(i season.Interval) string {
	return fmt.Sprintf("%.0f (%.0f to %.0f)", 10*float64(int(i.Value/10+0.5)), 10*float64(int(i.Low/10)), 10*float64(int(i.High/10+1)))
}

// besides tells money and what lies beyond the temperatures seen.
func besides(e job.ExpectedSeason, currency string) string {
	text := ""
	if e.Money != nil {
		text += fmt.Sprintf(", about %.0f %s", e.Money.Value, currency)
	}
	if p := e.Projection; p.BeyondShare >= 0.005 {
		text += fmt.Sprintf("; %.0f %% of the heat lies beyond the %.0f to %.0f °C seen", 100*p.BeyondShare, p.SeenFromC, p.SeenToC)
	}
	return text
}

func writeComparison(out io.Writer, c *season.Comparison) {
	base := "the site's own base"
	if !c.OwnBase {
		base = "the customary base"
	}
	fmt.Fprintf(out, "Compared, in degree days below %.1f °C (%s):\n", c.BaseC, base)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\tdays\toutdoor °C\tdegree days\tspace heat kWh\tkWh/degree day\tSPF\t")
	for _, row := range []struct {
		name string
		p    season.Period
	}{{"this period", c.This}, {"the other", c.Against}} {
		fmt.Fprintf(w, "%s\t%d\t%s\t%.0f\t%.0f\t%s\t%s\t\n", row.name, row.p.Days, num(row.p.OutdoorC, 1), row.p.DegreeDays, row.p.SpaceKWh,
			num(row.p.KWhPerDegreeDay, 2), num(row.p.SPF, 2))
	}
	w.Flush()
	if c.HeatChange != nil {
		fmt.Fprintf(out, "Heat for each degree day: %s; %.0f kWh had been expected in this weather.\n", changeWords(*c.HeatChange), *c.ExpectedKWh)
	}
	if c.ElectricityChange != nil {
		fmt.Fprintf(out, "Electricity for the same heat at the same outdoor temperatures, defrosts apart: %s.\n", changeWords(*c.ElectricityChange))
	}
	for _, caution := range c.Cautions {
		fmt.Fprintln(out, "Caution:", caution)
	}
	fmt.Fprintln(out)
}

func changeWords(i season.Interval) string {
	words := fmt.Sprintf("%+.0f %% (%+.0f to %+.0f)", 100*i.Value, 100*i.Low, 100*i.High)
	if i.Low <= 0 && i.High >= 0 {
		words += ", no change to be seen"
	}
	return words
}

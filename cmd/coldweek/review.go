package main

import (
	"context"
	"errors"
	"io"
	"time"

	"github.com/spf13/cobra"

	"coldweek/analysis/job"
	"coldweek/analysis/review"
	"coldweek/dashboards/web"
	"coldweek/ingest/site"
)

// reviewFlags are what a review is asked for.
type reviewFlags struct {
	from, to, out  string
	asJSON, asHTML bool
}

func newReview(a *app) *cobra.Command {
	var f reviewFlags
	c := &cobra.Command{
		Use:   "review SITE",
		Short: "The page to read after a plant's first cold week",
		Long: `Hold a week against the hand-over, point by point: flow, flow-return difference,
heating curve, rooms, defrosts, cycling, hot water, backup heater, readings, heat
loss, and what the coldest night showed. Each point is good, to look at, or not
known yet, with its number, its limit, what the limit stands on and what to do next.

Without dates it is the coldest seven days in a row of the last year of whole days
stored: a plant shows what it can do when it is cold, and milder days since then do
not take that back. Where the outdoor temperature is not known it is the last seven
whole days. --to is exclusive.`,
		Example: `  coldweek review mill-cottage
  coldweek review mill-cottage --from 2026-01-05 --to 2026-01-12
  coldweek review mill-cottage --html --out mill-cottage-review.html
  coldweek review mill-cottage --json | jq '.points[] | select(.state != "good")'`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			if f.asJSON && f.asHTML {
				return usagef("--json and --html exclude each other")
			}
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				r, err := a.review(c.Context(), h, st, record, f)
				if err != nil {
					return err
				}
				return a.writeReview(r, f)
			})
		},
	}
	c.Flags().StringVar(&f.from, "from", "", "first local day, as 2026-01-31")
	c.Flags().StringVar(&f.to, "to", "", "day after the last, as 2026-02-28")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print JSON for other programs")
	c.Flags().BoolVar(&f.asHTML, "html", false, "make a page that stands alone and prints on one sheet of A4")
	c.Flags().StringVar(&f.out, "out", "", "file to write; standard output when left out")
	return c
}

// review makes the review of the days asked for, or of the coldest week.
func (a *app) review(ctx context.Context, h home, st *stores, record *site.Record, f reviewFlags) (*review.Review, error) {
	bar := a.progress("days")
	defer bar.done()
	window, chosen, err := reviewedDays(ctx, st, record, f, bar.step)
	if err != nil {
		return nil, err
	}
	return job.Review(ctx, st, record, window, chosen, h.watched, bar.step)
}

func reviewedDays(ctx context.Context, st *stores, record *site.Record, f reviewFlags, step job.Progress) (job.Window, string, error) {
	switch {
	case f.from == "" && f.to == "":
		return job.ColdestWeek(ctx, st, record, time.Now(), step)
	case f.from == "":
		end, err := time.Parse(time.DateOnly, f.to)
		if err != nil {
			return job.Window{}, "", usagef("last date %q: write it as 2026-01-31", f.to)
		}
		f.from = end.AddDate(0, 0, -review.WeekDays).Format(time.DateOnly)
	case f.to == "":
		begin, err := time.Parse(time.DateOnly, f.from)
		if err != nil {
			return job.Window{}, "", usagef("first date %q: write it as 2026-01-31", f.from)
		}
		f.to = begin.AddDate(0, 0, review.WeekDays).Format(time.DateOnly)
	}
	window, err := job.ParseWindow(record, f.from, f.to)
	if err != nil {
		return window, "", usageError{err}
	}
	return window, "the days asked for", nil
}

func (a *app) writeReview(r *review.Review, f reviewFlags) error {
	out, closeOut, err := a.output(f.out)
	if err != nil {
		return err
	}
	return errors.Join(formatReview(out, r, f), closeOut())
}

func formatReview(out io.Writer, r *review.Review, f reviewFlags) error {
	switch {
	case f.asJSON:
		return writeJSON(out, r)
	case f.asHTML:
		return web.WriteReview(out, r)
	}
	return printReview(out, r)
}

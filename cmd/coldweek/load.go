package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"coldweek/ingest"
	"coldweek/ingest/load"
	"coldweek/ingest/site"
)

func newLoad(a *app) *cobra.Command {
	var opts load.Options
	var zone string
	var asJSON bool
	c := &cobra.Command{
		Use:   "load SITE FILE.csv[.gz]",
		Short: "Load history from a file",
		Long: `Load a CSV file: a header row; a time column (RFC 3339, or Unix s or ms); every
other column named like a channel plus its unit (flow_temp_c, flow_rate_lph,
power_w, heat_register_kwh, mode) or mapped by the site record. Rows need no
order and may repeat. Loading twice changes nothing, and a load that was
interrupted goes on where it stopped. Cells that cannot be understood go to
quarantine. FILE may be - for standard input.`,
		Example: `  coldweek load mill-cottage history.csv.gz
  coldweek load mill-cottage logger.csv --zone Europe/London --skip-unknown
  zcat old.csv.gz | coldweek load mill-cottage -`,
		Args: args(cobra.ExactArgs(2)),
		RunE: func(c *cobra.Command, given []string) (err error) {
			if zone != "" {
				if opts.Zone, err = time.LoadLocation(zone); err != nil {
					return usagef("--zone %q: write an IANA name such as Europe/London", zone)
				}
			}
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				opts.Now, opts.MarkDir = time.Now, filepath.Join(h.dataDir(), "loads")
				if err := os.MkdirAll(opts.MarkDir, 0o750); err != nil {
					return fmt.Errorf("make folder for marks: %w", err)
				}
				result, err := a.load(c, st, record, given[1], opts)
				err = errors.Join(err, st.settle(c.Context(), a))
				if asJSON && err == nil {
					return writeJSON(a.out, loadedJSON(result))
				}
				a.writeLoaded(result, err)
				return err
			})
		},
	}
	c.Flags().StringVar(&opts.TimeColumn, "time-column", "time", "name of the column of times")
	c.Flags().StringVar(&zone, "zone", "", "IANA zone of the file's clock, for times without an offset")
	c.Flags().StringArrayVar(&opts.Ignore, "ignore", nil, "column to leave out; may be given several times")
	c.Flags().BoolVar(&opts.SkipUnknown, "skip-unknown", false, "leave out columns that are no channel, with a warning")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

func (a *app) load(c *cobra.Command, st *stores, record *site.Record, path string, opts load.Options) (load.Result, error) {
	if path == "-" {
		return load.Reader(c.Context(), st, record, "standard input", a.in, opts)
	}
	bar := a.progress(filepath.Base(path), progressbar.OptionShowBytes(true))
	defer bar.done()
	opts.Progress = bar.set
	return load.File(c.Context(), st, record, path, opts)
}

// loaded is the result in JSON.
type loaded struct {
	Rows     int64            `json:"rows"`
	Readings int64            `json:"readings"`
	Changed  int64            `json:"changed"`
	Rejected int64            `json:"rejected"`
	From     *time.Time       `json:"from"`
	To       *time.Time       `json:"to"`
	Channels []ingest.Channel `json:"channels"`
	Warnings []string         `json:"warnings"`
}

func loadedJSON(r load.Result) loaded {
	l := loaded{Rows: r.Rows, Readings: r.Readings, Changed: r.Changed, Rejected: r.Rejected, Channels: r.Columns, Warnings: append([]string{}, r.Warnings...)}
	if !r.From.IsZero() {
		l.From, l.To = &r.From, &r.To
	}
	return l
}

func (a *app) writeLoaded(r load.Result, err error) {
	for _, w := range r.Warnings {
		fmt.Fprintln(a.err, "warning:", w)
	}
	if r.Rows == 0 && err != nil {
		return
	}
	names := make([]string, len(r.Columns))
	for i, ch := range r.Columns {
		names[i] = string(ch)
	}
	fmt.Fprintf(a.out, "%d rows, %d readings of %s; %d new or changed", r.Rows, r.Readings, strings.Join(names, ", "), r.Changed)
	if !r.From.IsZero() {
		fmt.Fprintf(a.out, "; %s to %s", r.From.Format(time.RFC3339), r.To.Format(time.RFC3339))
	}
	fmt.Fprintln(a.out)
	if r.Rejected > 0 {
		fmt.Fprintf(a.out, "%d rows or cells refused; see: coldweek quarantine --home %s\n", r.Rejected, a.homeDir)
	}
	if err != nil {
		fmt.Fprintln(a.out, "stopped; the same command goes on from here")
	}
}

package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

func newExport(a *app) *cobra.Command {
	var from, to, dest string
	var only []string
	c := &cobra.Command{
		Use:   "export SITE",
		Short: "Write readings as CSV, in the form that load reads",
		Long: `Write a site's readings as CSV: a time column (RFC 3339, UTC), then one column
a channel with its unit. Without dates, everything; --to is exclusive.`,
		Example: `  coldweek export mill-cottage --from 2026-01-01 --to 2026-02-01 --out january.csv
  coldweek export mill-cottage --channel flow_temp --channel power | gzip > two.csv.gz`,
		Args: args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withSite(c.Context(), given[0], func(_ home, record *site.Record, st *stores) error {
				extents, err := st.Extents(c.Context(), record.ID)
				if err != nil {
					return err
				}
				if extents, err = chosen(extents, only); err != nil {
					return err
				}
				window, err := exportWindow(record.Zone(), extents, from, to)
				if err != nil {
					return err
				}
				out, closeOut, err := a.output(dest)
				if err != nil {
					return err
				}
				return errors.Join(a.exportCSV(c.Context(), out, st, record.ID, extents, window), closeOut())
			})
		},
	}
	c.Flags().StringVar(&from, "from", "", "first local day, as 2026-01-31")
	c.Flags().StringVar(&to, "to", "", "day after the last")
	c.Flags().StringVarP(&dest, "out", "o", "", "file to write; standard output when not given")
	c.Flags().StringArrayVar(&only, "channel", nil, "only this channel; may be given several times")
	return c
}

func chosen(extents []store.Extent, only []string) ([]store.Extent, error) {
	if len(extents) == 0 {
		return nil, usagef("the site has no readings yet")
	}
	if len(only) == 0 {
		return extents, nil
	}
	var kept []store.Extent
	for _, name := range only {
		channel, err := ingest.ParseChannel(name)
		if err != nil {
			return nil, usageError{err}
		}
		i := slices.IndexFunc(extents, func(e store.Extent) bool { return e.Channel == channel })
		if i < 0 {
			return nil, usagef("the site has no readings of %s", channel)
		}
		kept = append(kept, extents[i])
	}
	return kept, nil
}

// exportWindow fills in dates not given with what the channels hold.
func exportWindow(zone *time.Location, extents []store.Extent, from, to string) (job.Window, error) {
	first, last := store.Span(extents)
	w := job.Window{From: first, To: last.Add(time.Millisecond)}
	for _, d := range []struct {
		text string
		into *time.Time
	}{{from, &w.From}, {to, &w.To}} {
		if d.text == "" {
			continue
		}
		at, err := time.ParseInLocation(time.DateOnly, d.text, zone)
		if err != nil {
			return w, usagef("date %q: write it as 2026-01-31", d.text)
		}
		*d.into = at
	}
	return w, nil
}

// exportCSV writes a day at a time, so that years need no memory.
func (a *app) exportCSV(ctx context.Context, out io.Writer, st store.Readings, id string, extents []store.Extent, w job.Window) error {
	buffered := bufio.NewWriter(out)
	table := csv.NewWriter(buffered)
	header := []string{"time"}
	channels := make([]ingest.Channel, len(extents))
	for i, e := range extents {
		channels[i] = e.Channel
		header = append(header, e.Channel.ColumnName())
	}
	if err := table.Write(header); err != nil {
		return err
	}
	bar := a.progress("export")
	defer bar.done()
	for at := w.From; at.Before(w.To); {
		next := at.Add(24 * time.Hour)
		if next.After(w.To) {
			next = w.To
		}
		columns, err := st.Scan(ctx, id, channels, at, next)
		if err != nil {
			return fmt.Errorf("scan site %q: %w", id, err)
		}
		if err := writeRows(table, columns); err != nil {
			return err
		}
		at = next
		bar.set(int64(at.Sub(w.From)/time.Hour), int64(w.To.Sub(w.From)/time.Hour))
	}
	table.Flush()
	return errors.Join(table.Error(), buffered.Flush())
}

// writeRows joins columns by time; a channel without a sample leaves its cell
// empty.
func writeRows(table *csv.Writer, columns []ingest.Column) error {
	place := make([]int, len(columns))
	row := make([]string, len(columns)+1)
	for {
		first, any := int64(0), false
		for i, c := range columns {
			if place[i] < c.Len() && (!any || c.UnixMS[place[i]] < first) {
				first, any = c.UnixMS[place[i]], true
			}
		}
		if !any {
			return nil
		}
		row[0] = time.UnixMilli(first).UTC().Format("2006-01-02T15:04:05.999Z07:00")
		for i, c := range columns {
			row[i+1] = ""
			if place[i] < c.Len() && c.UnixMS[place[i]] == first {
				row[i+1] = cell(c.Channel, c.Value[place[i]])
				place[i]++
			}
		}
		if err := table.Write(row); err != nil {
			return err
		}
	}
}

func cell(channel ingest.Channel, value float64) string {
	if channel.Quantity() == ingest.ModeQuantity {
		return ingest.Mode(value).String()
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coldweek/dashboards/note/archive"
)

func newNoteList(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "list [SITE]",
		Short:   "Show drafts and issues, and how far they went out",
		Example: "  coldweek note list\n  coldweek note list mill-cottage",
		Args:    args(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			id := ""
			if len(given) == 1 {
				if _, err := h.record(given[0]); err != nil {
					return err
				}
				id = given[0]
			}
			listed, err := h.listNotes(id)
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(a.out, listed)
			}
			return writeNotes(a.out, listed)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// listedNote is a note as other programs read it.
type listedNote struct {
	archive.Entry
	Draft bool          `json:"draft"`
	Mail  *archive.Mail `json:"mail"`
}

func (h home) listNotes(id string) ([]listedNote, error) {
	kept, err := archive.Open(h.notesDir())
	if err != nil {
		return nil, err
	}
	entries, err := kept.List(id)
	if err != nil {
		return nil, err
	}
	listed := []listedNote{}
	for _, e := range entries {
		l := listedNote{Entry: e, Draft: e.IsDraft()}
		if !l.Draft {
			m, err := kept.Mail(e)
			if err != nil {
				return nil, err
			}
			l.Mail = &m
		}
		listed = append(listed, l)
	}
	return listed, nil
}

func writeNotes(out io.Writer, listed []listedNote) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\tmonth\tissue\tlanguage\tcoverage\twritten\treleased\tmail")
	for _, l := range listed {
		released, sent := "draft, waits for release", ""
		if !l.Draft {
			released = l.Released.Format(time.DateOnly) + " by " + l.ReleasedBy
			sent = string(l.Mail.State)
			if l.Mail.State == archive.Sent {
				sent += " " + l.Mail.At.Format(time.DateOnly)
			}
			if l.Mail.Why != "" {
				sent += ": " + l.Mail.Why
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%.0f %%\t%s\t%s\t%s\n", l.Site, l.Month, l.Issue, l.Language, 100*l.Coverage, l.Written.Format(time.DateOnly), released, sent)
	}
	return w.Flush()
}

package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"coldweek/dashboards/note"
	"coldweek/dashboards/note/archive"
	"coldweek/ingest/site"
)

func newNoteRelease(a *app) *cobra.Command {
	var month, by string
	c := &cobra.Command{
		Use:   "release SITE --month MONTH",
		Short: "Issue a note: keep it for good and let it go to the homeowner",
		Long: `Issue the draft of a month, as it is; without a draft, one is made. An issue is
kept byte for byte. To replace one, make another draft (coldweek note SITE
--draft) and release that: it is marked as such, and says what changed. coldweek
serve sends it, if the site record has contact.homeowner_email and coldweek.yaml
has notify: smtp.`,
		Example: "  coldweek note release mill-cottage --month 2026-01",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				m, err := parseMonth(month, record, time.Now())
				if err != nil {
					return err
				}
				return a.releaseNote(c.Context(), h, record, st, m, by)
			})
		},
	}
	c.Flags().StringVar(&month, "month", "", "the month, as 2026-01; last month when left out")
	c.Flags().StringVar(&by, "by", "", "who releases it; the login name when left out")
	return c
}

func (a *app) releaseNote(ctx context.Context, h home, record *site.Record, st *stores, month note.Month, by string) error {
	w, err := h.notes(st)
	if err != nil {
		return err
	}
	if _, err := w.Archive.Draft(record.ID, month); errors.Is(err, archive.ErrNone) {
		facts, err := a.facts(ctx, w, record, month)
		switch {
		case err != nil:
			return err
		case facts.Issue > 1:
			return usagef("issue %d of %s is out; to replace it, first look at a new draft: coldweek note %s --month %s --draft", facts.Issue-1, month, record.ID, month)
		}
		if _, err := w.Draft(facts, note.Language(record)); err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	entry, err := w.Release(record, month, cmp.Or(by, userName()))
	if err != nil {
		return err
	}
	m, err := w.Archive.Mail(entry)
	if err != nil {
		return err
	}
	if m.State == archive.Waiting {
		fmt.Fprintf(a.out, "issue %d of %s; coldweek serve sends it to %s\n", entry.Issue, month, m.To)
		return nil
	}
	fmt.Fprintf(a.out, "issue %d of %s; not to be sent: %s\n", entry.Issue, month, m.Why)
	return nil
}

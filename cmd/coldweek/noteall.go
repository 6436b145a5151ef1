package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"coldweek/dashboards/note/dispatch"
	"coldweek/ingest/site"
)

// allNotes drafts the notes of every site, or writes them into a folder, one after
// the other, so that memory holds one. Sites that fail are told at the end.
func (a *app) allNotes(ctx context.Context, h home, st *stores, f noteFlags) error {
	records, failed := site.LoadAll(h.sitesDir()) // records with mistakes are left out
	if len(records) == 0 {
		return failed
	}
	w, err := h.notes(st)
	if err != nil {
		return err
	}
	if f.out != "" {
		if err := os.MkdirAll(f.out, 0o750); err != nil {
			return fmt.Errorf("make folder of notes: %w", err)
		}
	}
	bar := a.progress("notes")
	made, issued := 0, 0
	for i, record := range records {
		switch err := a.oneOfAll(ctx, w, record, f); {
		case errors.Is(err, errIssued):
			issued++
		case err != nil:
			failed = errors.Join(failed, fmt.Errorf("site %q: %w", record.ID, err))
		default:
			made++
		}
		bar.step(i+1, len(records))
		if ctx.Err() != nil {
			break
		}
	}
	bar.done()
	fmt.Fprintf(a.out, "%s, %d issued already\n", counted(made, "note", "notes"), issued)
	return failed
}

// errIssued says that a month's note is out: another draft is for a reason only.
var errIssued = errors.New("issued already")

func (a *app) oneOfAll(ctx context.Context, w dispatch.Writer, record *site.Record, f noteFlags) error {
	month, err := parseMonth(f.month, record, time.Now())
	if err != nil {
		return err
	}
	facts, err := w.Facts(ctx, record, month, nil)
	if err != nil {
		return err
	}
	switch {
	case f.out == "" && facts.Issue > 1:
		return errIssued
	case f.out == "":
		_, err := w.Draft(facts, f.tag(record))
		return err
	}
	d, err := compose(facts, f, record)
	if err != nil {
		return err
	}
	content, err := f.render(d)
	if err != nil {
		return err
	}
	name := record.ID + "-" + month.String() + filepath.Ext(f.file())
	if err := os.WriteFile(filepath.Join(f.out, name), content, 0o640); err != nil {
		return fmt.Errorf("write note: %w", err)
	}
	return nil
}

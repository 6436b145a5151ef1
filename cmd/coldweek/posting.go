package main

import (
	"context"
	"time"

	"coldweek/analysis/job"
	"coldweek/dashboards/note/archive"
	"coldweek/dashboards/note/dispatch"
	"coldweek/ingest/site"
)

const (
	// lookReaches is how far back a look finds what it has not seen before.
	lookReaches = 3 * 24 * time.Hour
	// markEvery is how often it is kept that a site was looked at.
	markEvery = time.Hour
)

// postNotes drafts the notes of last month and sends those that are released.
func (s *service) postNotes(ctx context.Context) error {
	writer, err := s.home.notes(s.store)
	if err != nil {
		return err
	}
	o := dispatch.Options{
		Writer: writer, Dir: s.home.notesDir(), Records: s.siteRecords, Logger: s.logger, Home: s.home.absolute(),
	}
	if s.config.Notify != nil {
		told, err := s.config.Notify.options(s.home)
		if err != nil {
			return err
		}
		o.Mail, o.Engineers, o.PagesURL = told.Mail, told.Engineers, told.PagesURL
	}
	return dispatch.New(o).Run(ctx)
}

// markWatched keeps that a site's readings were looked at for findings, so that a
// note may say that there were none.
func (h home) markWatched(id string, from, to time.Time) error {
	kept, err := archive.Open(h.notesDir())
	if err != nil {
		return err
	}
	return kept.MarkWatched(id, archive.Span{From: from.UTC(), To: to.UTC()})
}

// watched says whether a site was looked at for findings in all of a time.
func (h home) watched(id string, from, to time.Time) (bool, error) {
	kept, err := archive.Open(h.notesDir())
	if err != nil {
		return false, err
	}
	return kept.Watched(id, from, to)
}

// mark keeps it of a look, not every time.
func (l *lookout) mark(id string, now time.Time) {
	if now.Sub(l.marked[id]) < markEvery {
		return
	}
	l.marked[id] = now
	if err := l.service.home.markWatched(id, now.Add(-lookReaches), now); err != nil {
		l.service.logger.Error("that a site was looked at was not kept; its note may not say so", "site", id, "error", err)
	}
}

// watchWindow watches a window of a site's history and keeps that it did.
func (h home) watchWindow(ctx context.Context, st job.WatchStore, record *site.Record, w job.Window, progress job.Progress) error {
	if err := job.WatchHistory(ctx, st, record, w, progress); err != nil {
		return err
	}
	return h.markWatched(record.ID, w.From, w.To)
}

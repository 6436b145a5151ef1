package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/dashboards/metrics"
	"coldweek/dashboards/notify"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	// watchEvery is how often each site is looked at; a look at one of which
	// nothing new came costs next to nothing.
	watchEvery = 30 * time.Second
	// lookBack is how far back findings that ended are handed over after a start,
	// in case the process ended before they were; older ones are history to the
	// notifier.
	lookBack = 7 * 24 * time.Hour
)

// lookout watches all sites and hands what changed to the notifier.
type lookout struct {
	service  *service
	notifier *notify.Notifier // nil: nobody is told
	memory   map[string]*job.Memory
	told     map[string]told // by site and id
	unsent   []notify.Event
	marked   map[string]time.Time // when it was last kept that a site was looked at
}

func newLookout(s *service, n *notify.Notifier) *lookout {
	return &lookout{service: s, notifier: n, memory: map[string]*job.Memory{}, told: map[string]told{}, marked: map[string]time.Time{}}
}

// keepWatch looks at every site again and again.
func (s *service) keepWatch(ctx context.Context) error {
	l := newLookout(s, s.notifier)
	for {
		// What goes wrong at a site is told there, and ends no round.
		_ = s.tasks.Do(ctx, metrics.Round, l.round)
		if !every(ctx, watchEvery) {
			return ctx.Err()
		}
	}
}

// round looks at every site once.
func (l *lookout) round(ctx context.Context) error {
	s := l.service
	for _, record := range s.siteRecords() {
		if s.catchUp != nil && s.catchUp(record.ID) {
			continue
		}
		before := len(l.unsent)
		err := s.tasks.Do(ctx, metrics.Look, func(ctx context.Context) error { return l.look(ctx, record) })
		if err != nil && ctx.Err() == nil {
			s.logger.Error("a site was not looked at; trying again", "site", record.ID, "error", err)
		}
		if len(l.unsent) > before {
			l.handOver(ctx) // at once: it may take a while to look at the others
		}
	}
	l.handOver(ctx)
	return ctx.Err()
}

// watchPast watches a site's history since a time, as if it had been watched then.
func (s *service) watchPast(ctx context.Context, id string, since time.Time) error {
	record := recordOf(s.siteRecords(), id)
	if record == nil {
		return nil
	}
	return s.home.watchWindow(ctx, s.store, record, job.WindowAround(since, time.Now().In(record.Zone())), nil)
}

func (l *lookout) look(ctx context.Context, record *site.Record) error {
	memory, known := l.memory[record.ID]
	if !known {
		memory = new(job.Memory)
	}
	now := time.Now()
	watched, err := job.Watch(ctx, l.service.store, record, now, memory)
	if err != nil {
		return err
	}
	l.service.show(ctx, record, now, watched)
	l.mark(record.ID, now)
	if !known {
		if err := l.begin(ctx, record, now); err != nil {
			return err
		}
		l.memory[record.ID] = memory
		return nil // what changed is among what was kept
	}
	for i := range watched.Changed {
		l.changed(record, &watched.Changed[i], now)
	}
	return nil
}

// begin compares what the store has with what the outbox knows, when a site is
// looked at for the first time since the start: the process may have ended
// after a finding was kept and before it was handed over, be it new, worse than
// it was, over, or not over after all.
func (l *lookout) begin(ctx context.Context, record *site.Record, now time.Time) error {
	past := now.Add(-lookBack)
	from, err := l.recall(ctx, record.ID, past)
	if err != nil {
		return err
	}
	kept, err := l.service.store.Findings(ctx, record.ID, from, now.Add(watchEvery))
	if err != nil {
		return err
	}
	for _, k := range kept {
		f, err := job.ReadFinding(k)
		if err != nil {
			return err
		}
		if _, known := l.told[keyOf(record.ID, &f)]; !known && f.Ended() && f.Until.Before(past) {
			continue
		}
		l.changed(record, &f, now)
	}
	return nil
}

// recall takes over what the outbox knows of a site's findings. It returns when the
// first open one began if that is before the time given.
func (l *lookout) recall(ctx context.Context, id string, from time.Time) (time.Time, error) {
	if l.notifier == nil {
		return from, nil
	}
	known, err := l.notifier.Known(ctx, id)
	for _, k := range known {
		l.told[keyOf(id, &watch.Finding{Kind: k.Kind, Since: k.Since})] = told{watch.Severity(k.Severity), k.Ended}
		if !k.Ended && !k.Since.After(from) {
			from = k.Since.Add(-time.Millisecond) // one that was withdrawn ended when it began
		}
	}
	return from, err
}

// told is what was handed over of a finding.
type told struct {
	severity watch.Severity
	ended    bool
}

func keyOf(id string, f *watch.Finding) string { return id + " " + job.FindingID(f.Kind, f.Since) }

// changed makes the event of a finding that is new or not what it was.
func (l *lookout) changed(record *site.Record, f *watch.Finding, now time.Time) {
	key := keyOf(record.ID, f)
	before, known := l.told[key]
	l.told[key] = told{f.Severity, f.Ended()}
	open := known && !before.ended
	switch {
	case f.Ended() && known && before.ended, f.Ended() && !known && f.Withdrawn():
		// Its end moved, or there was nothing and nobody heard of it.
	case f.Ended():
		if !open { // it began and ended since the last look
			l.add(notify.Opened, record, f, now)
		}
		l.add(notify.Ended, record, f, now)
	case !open:
		l.add(notify.Opened, record, f, now)
	case !before.severity.AtLeast(f.Severity):
		l.add(notify.Raised, record, f, now)
	}
}

func (l *lookout) add(what notify.What, record *site.Record, f *watch.Finding, now time.Time) {
	e := notify.Event{
		What: what, At: now, ID: job.FindingID(f.Kind, f.Since), Site: record.ID, SiteName: record.Name, Kind: f.Kind, Severity: store.Severity(f.Severity),
		Since: f.Since, Until: f.Until, Title: f.Title, Causes: f.Causes, Next: f.Next, Caution: f.Caution, Basis: f.Basis,
	}
	if what != notify.Ended {
		e.Until = time.Time{}
	}
	for _, figure := range f.Evidence {
		e.Evidence = append(e.Evidence, figureLine(figure))
	}
	l.unsent = append(l.unsent, e)
}

// figureLine is a figure as people read it: its name without the unit, which
// follows the number.
func figureLine(f watch.Figure) string {
	return strings.TrimRight(fmt.Sprintf("%s %.*f %s", f.Words(), f.Decimals, f.Value, f.Unit), " ")
}

// handOver puts events into the outbox; what did not get there waits here.
func (l *lookout) handOver(ctx context.Context) {
	if l.notifier == nil || len(l.unsent) == 0 {
		l.unsent = nil
		return
	}
	if err := l.notifier.Put(ctx, l.unsent...); err != nil {
		if ctx.Err() == nil {
			l.service.logger.Error("findings wait to be told; trying again", "findings", len(l.unsent), "error", err)
		}
		return
	}
	l.unsent = nil
}

package main

import (
	"context"
	"fmt"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/dashboards/notify"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	// watchEvery is how often each site is looked at; a look at one of which
	// nothing new came costs next to nothing.
	watchEvery = 30 * time.Second
	// toldAgain is how far back findings that ended are handed over again after
	// a start, in case the process ended before they were. Twice is once there.
	toldAgain = 24 * time.Hour
)

// lookout watches all sites and hands what changed to the notifier.
type lookout struct {
	service  *service
	notifier *notify.Notifier // nil: nobody is told
	memory   map[string]*job.Memory
	severity map[string]watch.Severity // of open findings, by site and id
	unsent   []notify.Event
}

// keepWatch looks at every site again and again.
func (s *service) keepWatch(ctx context.Context) error {
	l := &lookout{service: s, notifier: s.notifier, memory: map[string]*job.Memory{}, severity: map[string]watch.Severity{}}
	for {
		for _, record := range *s.records.Load() {
			if err := l.look(ctx, record); err != nil && ctx.Err() == nil {
				s.logger.Error("a site was not looked at; trying again", "site", record.ID, "error", err)
			}
		}
		l.handOver(ctx)
		if !every(ctx, watchEvery) {
			return ctx.Err()
		}
	}
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
	if !known {
		if err := l.begin(ctx, record, now); err != nil {
			return err
		}
		l.memory[record.ID] = memory
	}
	for i := range watched.Changed {
		l.changed(record, &watched.Changed[i], now)
	}
	return nil
}

// begin hands over what is open, and what ended lately, when a site is looked at
// for the first time since the start.
func (l *lookout) begin(ctx context.Context, record *site.Record, now time.Time) error {
	findings, err := job.ReadFindings(ctx, l.service.store, record.ID, now.Add(-toldAgain), now.Add(watchEvery))
	if err != nil {
		return err
	}
	for i := range findings {
		l.changed(record, &findings[i], now)
	}
	return nil
}

// changed makes the event of a finding that is new or not what it was.
func (l *lookout) changed(record *site.Record, f *watch.Finding, now time.Time) {
	id := job.FindingID(f.Kind, f.Since)
	key := record.ID + " " + id
	before, told := l.severity[key]
	l.severity[key] = f.Severity
	switch {
	case f.Ended():
		delete(l.severity, key)
		if !told && !f.Withdrawn() { // it began and ended since the last look
			l.add(notify.Opened, record, f, id, now)
		}
		l.add(notify.Ended, record, f, id, now)
	case !told:
		l.add(notify.Opened, record, f, id, now)
	case before != f.Severity:
		l.add(notify.Raised, record, f, id, now)
	}
}

func (l *lookout) add(what notify.What, record *site.Record, f *watch.Finding, id string, now time.Time) {
	e := notify.Event{
		What: what, At: now, ID: id, Site: record.ID, SiteName: record.Name, Kind: f.Kind, Severity: store.Severity(f.Severity),
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
	return fmt.Sprintf("%s %.*f %s", figureName(f), f.Decimals, f.Value, f.Unit)
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

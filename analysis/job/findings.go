package job

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// told is what the store keeps of a finding beside its own columns.
type told struct {
	Title    string         `json:"title"`
	Evidence []watch.Figure `json:"evidence"`
	Causes   []string       `json:"causes"`
	Next     []string       `json:"next"`
	Caution  string         `json:"caution,omitempty"`
	Basis    string         `json:"basis"`
	AsOf     time.Time      `json:"as_of"`
}

// FindingID is how a finding is called: its kind and its beginning.
func FindingID(kind string, since time.Time) string {
	return (&watch.Finding{Kind: kind, Since: since}).ID()
}

// StoreFinding is a finding as the store keeps it.
func StoreFinding(id string, f *watch.Finding) (store.Finding, error) {
	detail, err := json.Marshal(told{f.Title, f.Evidence, f.Causes, f.Next, f.Caution, f.Basis, f.AsOf})
	if err != nil {
		return store.Finding{}, fmt.Errorf("encode finding %s of site %q: %w", f.Kind, id, err)
	}
	kept := store.Finding{
		Site: id, Kind: f.Kind, Since: f.Since, Until: f.Until, Severity: store.Severity(f.Severity),
		Fields: map[string]float64{}, Detail: detail,
	}
	for _, figure := range f.Evidence {
		kept.Fields[figure.Name] = figure.Value
	}
	return kept, nil
}

// ReadFinding reads a finding that StoreFinding made.
func ReadFinding(kept store.Finding) (watch.Finding, error) {
	var t told
	if err := json.Unmarshal(kept.Detail, &t); err != nil {
		return watch.Finding{}, fmt.Errorf("decode finding %s of site %q: %w", kept.Kind, kept.Site, err)
	}
	return watch.Finding{
		Kind: kept.Kind, Severity: watch.Severity(kept.Severity), Since: kept.Since, Until: kept.Until,
		Title: t.Title, Evidence: t.Evidence, Causes: t.Causes, Next: t.Next, Caution: t.Caution, Basis: t.Basis, AsOf: t.AsOf,
	}, nil
}

// ReadFindings returns a site's findings that lasted at any time of
// from <= time < to, without the withdrawn ones.
func ReadFindings(ctx context.Context, st store.Findings, id string, from, to time.Time) ([]watch.Finding, error) {
	kept, err := st.Findings(ctx, id, from, to)
	if err != nil {
		return nil, fmt.Errorf("read findings of site %q: %w", id, err)
	}
	var findings []watch.Finding
	for _, k := range kept {
		f, err := ReadFinding(k)
		if err != nil {
			return nil, err
		}
		if !f.Withdrawn() {
			findings = append(findings, f)
		}
	}
	return findings, nil
}

func putFindings(ctx context.Context, st store.Findings, id string, changed []watch.Finding) error {
	if len(changed) == 0 {
		return nil
	}
	kept := make([]store.Finding, len(changed))
	for i := range changed {
		var err error
		if kept[i], err = StoreFinding(id, &changed[i]); err != nil {
			return err
		}
	}
	if err := st.PutFindings(ctx, kept); err != nil {
		return fmt.Errorf("keep %d findings of site %q: %w", len(kept), id, err)
	}
	return nil
}

// recall reads what the store has, once.
func (m *Memory) recall(ctx context.Context, st store.Findings, id string, from time.Time) error {
	if m.known {
		return nil
	}
	kept, err := st.Findings(ctx, id, from, endOfTime)
	if err != nil {
		return fmt.Errorf("read findings of site %q: %w", id, err)
	}
	m.findings = nil
	for _, k := range kept {
		f, err := ReadFinding(k)
		if err != nil {
			return err
		}
		m.findings = append(m.findings, f)
	}
	m.known = true
	return nil
}

var endOfTime = time.Date(store.LastYear, 1, 1, 0, 0, 0, 0, time.UTC)

// remember takes over what changed and forgets what ended before.
func (m *Memory) remember(l looked) {
	m.seen = l.seen
	for _, f := range l.changed {
		k := slices.IndexFunc(m.findings, func(kept watch.Finding) bool { return kept.Kind == f.Kind && kept.Since.Equal(f.Since) })
		if k < 0 {
			m.findings = append(m.findings, f)
		} else {
			m.findings[k] = f
		}
	}
	m.findings = slices.DeleteFunc(m.findings, func(f watch.Finding) bool { return f.Ended() && f.Until.Before(l.from) })
}

func (m *Memory) open() []watch.Finding {
	var open []watch.Finding
	for _, f := range m.findings {
		if !f.Ended() {
			open = append(open, f)
		}
	}
	return open
}

// History runs the rules over a window, at each local midnight as far as there are
// readings, and returns what lasted at any time of it. It stores nothing.
func History(ctx context.Context, st Store, record *site.Record, w Window, progress Progress) ([]watch.Finding, error) {
	m := &Memory{known: true}
	err := midnights(ctx, st, record, w, progress, func(at time.Time) error {
		l, err := m.look(ctx, st, nil, record, at)
		if err != nil {
			return err
		}
		l.from = time.Time{} // forget nothing
		m.remember(l)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(m.findings, func(f watch.Finding) bool {
		return f.Withdrawn() || !f.Since.Before(w.To) || f.Ended() && !f.Until.After(w.From)
	}), nil
}

// WatchHistory does what History does and keeps what it finds in the store.
func WatchHistory(ctx context.Context, st WatchStore, record *site.Record, w Window, progress Progress) error {
	m := new(Memory)
	return midnights(ctx, st, record, w, progress, func(at time.Time) error {
		_, err := Watch(ctx, st, record, at, m)
		return err
	})
}

// midnights calls look for the end of each day of the window, the last time for the
// newest reading where that comes before.
func midnights(ctx context.Context, st Store, record *site.Record, w Window, progress Progress, look func(at time.Time) error) error {
	extents, err := st.Extents(ctx, record.ID)
	if err != nil {
		return fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	_, newest := store.Span(extents)
	days := w.days()
	for i, d := range days {
		if err := look(siteday.Earlier(d.to, newest)); err != nil {
			return err
		}
		if progress != nil {
			progress(i+1, len(days))
		}
		if newest.Before(d.to) {
			break
		}
	}
	return nil
}

// historyDays are run through at most for an answer; longer windows without stored
// findings have none, since each day costs what a look at its readings does.
const historyDays = 92

// FindingsOf returns a site's findings in a window: those that watching stored, else
// what the rules make of its history; nil where that would be too long.
func FindingsOf(ctx context.Context, st WatchStore, record *site.Record, w Window, watched Watching, progress Progress) ([]Finding, error) {
	found, ruled, err := foundIn(ctx, st, record, w, watched, progress)
	if err != nil || !ruled {
		return nil, err
	}
	return findingsOf(found), nil
}

// Watching says whether a site was watched in all of a time, so that what was not
// noticed was not there. It may be nil: that is not known.
type Watching func(site string, from, to time.Time) (bool, error)

// foundIn returns what was stored or, where nothing was and nobody watched, what
// the rules make of history, and whether there was one of them.
func foundIn(ctx context.Context, st WatchStore, record *site.Record, w Window, watched Watching, progress Progress) (found []watch.Finding, ruled bool, err error) {
	found, err = ReadFindings(ctx, st, record.ID, w.From, w.To)
	if err != nil || len(found) > 0 {
		return found, err == nil, err
	}
	if watched != nil {
		if ruled, err = watched(record.ID, w.From, w.To); err != nil || ruled {
			return nil, ruled, err
		}
	}
	if len(w.days()) > historyDays {
		return nil, false, nil
	}
	found, err = History(ctx, st, record, w, progress)
	return found, err == nil, err
}

// findingsOf puts findings into the answer's form.
func findingsOf(found []watch.Finding) []Finding {
	answer := []Finding{}
	for i := range found {
		f := &found[i]
		evidence := map[string]any{}
		for _, figure := range f.Evidence {
			evidence[figure.Name] = figure.Value
		}
		var until *time.Time
		if f.Ended() {
			until = &f.Until
		}
		next := f.Next
		if f.Caution != "" {
			next = append(slices.Clone(next), f.Caution)
		}
		answer = append(answer, Finding{
			ID: FindingID(f.Kind, f.Since), Severity: string(f.Severity), Since: f.Since, Until: until, Title: f.Title,
			Evidence: evidence, Causes: f.Causes, Next: next,
		})
	}
	return answer
}

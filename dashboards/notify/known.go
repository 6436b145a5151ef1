package notify

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"coldweek/ingest/store"
)

// Known is what the outbox was told of a finding, by all its events together.
type Known struct {
	Kind     string
	Since    time.Time
	Severity store.Severity // the highest
	Ended    bool
}

// Known returns what the outbox knows of a site's findings, in the order they
// began. Who puts events compares it after a start with what there is: what went
// unsaid because the process ended can then be put.
func (n *Notifier) Known(ctx context.Context, site string) ([]Known, error) {
	type row struct {
		kind    string
		sinceMS int64
		event   Event
	}
	rows, err := collect(ctx, n.box.db, func(scan func(...any) error) (r row, err error) {
		var body []byte
		if err := scan(&r.kind, &r.sinceMS, &body); err != nil {
			return r, err
		}
		return r, json.Unmarshal(body, &r.event)
	}, "SELECT kind, since_ms, body FROM event WHERE site = ? ORDER BY since_ms, kind, id", site)
	var known []Known
	for _, r := range rows {
		since := time.UnixMilli(r.sinceMS)
		if k := len(known) - 1; k < 0 || known[k].Kind != r.kind || !known[k].Since.Equal(since) {
			known = append(known, Known{Kind: r.kind, Since: since, Severity: r.event.Severity})
		}
		last := &known[len(known)-1]
		last.Ended = r.event.What == Ended
		if rankOfSeverity(r.event.Severity) > rankOfSeverity(last.Severity) {
			last.Severity = r.event.Severity
		}
	}
	return known, err
}

func rankOfSeverity(s store.Severity) int { return slices.Index(store.Severities(), s) }

package main

import (
	"context"
	"time"

	"coldweek/analysis/job"
	"coldweek/dashboards/metrics"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// show hands what a look showed to the metrics. Findings of which it is not known
// what engineers did count as open.
func (s *service) show(ctx context.Context, record *site.Record, at time.Time, watched job.Watched) {
	var actions []store.Action
	if len(watched.Open) > 0 {
		var err error
		if actions, err = s.store.Actions(ctx, record.ID); err != nil && ctx.Err() == nil {
			s.logger.Warn("what was acknowledged and muted is not known; findings count as open", "site", record.ID, "error", err)
		}
	}
	s.plants.Put(record.ID, at, watched, actions)
}

// notifications tell how telling engineers goes.
func (s *service) notifications(ctx context.Context) ([]metrics.Route, error) {
	tallies, err := s.notifier.Tallies(ctx)
	routes := make([]metrics.Route, len(tallies))
	for i, t := range tallies {
		routes[i] = metrics.Route{
			Way: string(t.Way), Sent: t.Sent, Failed: t.Failed, GivenUp: t.GivenUp, Waiting: t.Waiting, Stuck: t.Stuck, OldestStuck: t.OldestStuck,
		}
	}
	return routes, err
}

package metrics

import (
	"context"
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Journal is how much waits on this machine for a database elsewhere, and how
// forwarding it goes.
type Journal struct {
	Batches, Readings int64     // that wait now
	Oldest            time.Time // when the oldest batch was put there; zero when none waits
	Forwarded         int64     // readings the database took since the start
	Failures          int64     // attempts to forward that failed since the start
	Up                bool      // whether the last attempt to reach the database succeeded
}

type journalCollector struct {
	journal func(context.Context) (Journal, error)
	figures []figure[Journal]
	oldest  *prometheus.Desc
}

func newJournalCollector(journal func(context.Context) (Journal, error)) *journalCollector {
	return &journalCollector{
		journal: journal,
		figures: []figure[Journal]{
			gauge("journal_readings", "Readings that wait to be forwarded to the database.", func(j Journal) int64 { return j.Readings }),
			gauge("journal_batches", "Batches that wait to be forwarded to the database.", func(j Journal) int64 { return j.Batches }),
			counter("journal_forwarded_readings_total", "Readings that the database took.", func(j Journal) int64 { return j.Forwarded }),
			counter("journal_forward_failures_total", "Attempts to forward that failed; they are made again.", func(j Journal) int64 { return j.Failures }),
			gauge("database_up", "1 when the database answered last time, 0 when it did not.", func(j Journal) int64 { return one(j.Up) }),
		},
		oldest: describe("journal_oldest_timestamp_seconds", "Unix time at which the oldest waiting batch came; absent when none waits."),
	}
}

func one(yes bool) int64 {
	if yes {
		return 1
	}
	return 0
}

// Describe implements prometheus.Collector.
func (c *journalCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range c.figures {
		ch <- f.desc
	}
	ch <- c.oldest
}

// Collect implements prometheus.Collector.
func (c *journalCollector) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	j, err := c.journal(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(c.oldest, fmt.Errorf("read the journal's depth: %w", err))
		return
	}
	for _, f := range c.figures {
		ch <- f.metric(j)
	}
	if !j.Oldest.IsZero() {
		ch <- prometheus.MustNewConstMetric(c.oldest, prometheus.GaugeValue, unixSeconds(j.Oldest))
	}
}

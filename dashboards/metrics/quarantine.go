package metrics

import (
	"context"
	"fmt"

	"github.com/prometheus/client_golang/prometheus"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// quarantineCollector tells what could not become a reading.
type quarantineCollector struct {
	counts        func(context.Context) ([]store.QuarantineCount, error)
	kept, refused *prometheus.Desc
}

func newQuarantineCollector(counts func(context.Context) ([]store.QuarantineCount, error)) *quarantineCollector {
	return &quarantineCollector{
		counts:  counts,
		kept:    describe("quarantine_messages", "Refused messages still there to look at, by reason.", "reason"),
		refused: describe("quarantine_refused_total", "Messages refused since the store was made, by reason.", "reason"),
	}
}

// Describe implements prometheus.Collector.
func (c *quarantineCollector) Describe(ch chan<- *prometheus.Desc) {
	ch <- c.kept
	ch <- c.refused
}

// Collect implements prometheus.Collector. When the store cannot tell, both
// metrics are left out: zeros would look like a quarantine that was emptied.
func (c *quarantineCollector) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	counts, err := c.counts(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(c.kept, fmt.Errorf("read the quarantine's counts: %w", err))
		return
	}
	byReason := map[ingest.Reason]store.QuarantineCount{}
	for _, count := range counts {
		byReason[count.Reason] = count
	}
	for _, reason := range ingest.Reasons() {
		n := byReason[reason]
		ch <- prometheus.MustNewConstMetric(c.kept, prometheus.GaugeValue, float64(n.Kept), string(reason))
		ch <- prometheus.MustNewConstMetric(c.refused, prometheus.CounterValue, float64(n.Total), string(reason))
	}
}

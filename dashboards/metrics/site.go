package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"coldweek/ingest/receive"
)

// siteCollector tells how far each site's readings have come. Sites whose record
// is gone are left out.
type siteCollector struct {
	stats func() receive.Stats
	sites func() []string
	last  *prometheus.Desc
}

func newSiteCollector(stats func() receive.Stats, sites func() []string) *siteCollector {
	return &siteCollector{stats, sites, describe("site_last_reading_timestamp_seconds",
		"Unix time of the site's newest reading on disk; absent until the site is heard after a start.", "site")}
}

// Describe implements prometheus.Collector.
func (c *siteCollector) Describe(ch chan<- *prometheus.Desc) { ch <- c.last }

// Collect implements prometheus.Collector.
func (c *siteCollector) Collect(ch chan<- prometheus.Metric) {
	recorded := map[string]bool{}
	for _, id := range c.sites() {
		recorded[id] = true
	}
	for id, at := range c.stats().Newest {
		if recorded[id] {
			ch <- prometheus.MustNewConstMetric(c.last, prometheus.GaugeValue, unixSeconds(at), id)
		}
	}
}

func unixSeconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

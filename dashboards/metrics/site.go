package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"coldweek/ingest/receive"
)

// siteCollector tells how far each site's readings have come, by what the intake
// took since the start and what looks found in the store. Sites whose record is
// gone are left out.
type siteCollector struct {
	stats  func() receive.Stats
	sites  func() []string
	plants *Plants // nil: only the intake tells
	last   *prometheus.Desc
}

func newSiteCollector(stats func() receive.Stats, sites func() []string, plants *Plants) *siteCollector {
	return &siteCollector{stats, sites, plants, describe("site_last_reading_timestamp_seconds",
		"Unix time of the site's newest reading; absent until there is one, and after a start until the site is heard or looked at.", "site")}
}

// Describe implements prometheus.Collector.
func (c *siteCollector) Describe(ch chan<- *prometheus.Desc) { ch <- c.last }

// Collect implements prometheus.Collector.
func (c *siteCollector) Collect(ch chan<- prometheus.Metric) {
	ids := c.sites()
	heard, found := c.stats().Newest, map[string]*sighting{}
	if c.plants != nil {
		found = c.plants.sites(ids)
	}
	for _, id := range ids {
		at := heard[id]
		if s := found[id]; s != nil && s.watched.Glance.Newest.After(at) {
			at = s.watched.Glance.Newest
		}
		if !at.IsZero() {
			ch <- prometheus.MustNewConstMetric(c.last, prometheus.GaugeValue, unixSeconds(at), id)
		}
	}
}

func unixSeconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"coldweek/ingest"
	"coldweek/ingest/receive"
)

// intakeCollector tells what the intake did since it began.
type intakeCollector struct {
	stats           func() receive.Stats
	figures         []figure[receive.Stats]
	refused         *prometheus.Desc
	acknowledgement *prometheus.Desc
}

func newIntakeCollector(stats func() receive.Stats) *intakeCollector {
	type from = receive.Stats
	return &intakeCollector{
		stats: stats,
		figures: []figure[from]{
			counter("ingest_messages_total", "Messages taken in and safe on disk, refused ones included.", func(s from) int64 { return s.Messages }),
			counter("ingest_readings_total", "Readings taken in and safe on disk.", func(s from) int64 { return s.Readings }),
			counter("ingest_readings_changed_total", "Readings that were new or changed a value; the others were there already.", func(s from) int64 { return s.Changed }),
			counter("ingest_commits_total", "Commits, each of all messages that waited for it.", func(s from) int64 { return s.Commits }),
			counter("ingest_commit_failures_total", "Attempts to commit that failed; they are made again, and nothing is acknowledged meanwhile.", func(s from) int64 { return s.Failures }),
			counter("ingest_messages_lost_total", "Messages given back unacknowledged because the intake stopped while commits failed.", func(s from) int64 { return s.Lost }),
			gauge("ingest_queued_messages", "Messages that wait for the next commit.", func(s from) int64 { return int64(s.Queued) }),
		},
		refused:         describe("ingest_refused_total", "Messages or values of them put into quarantine since the start, by reason.", "reason"),
		acknowledgement: describe("ingest_acknowledgement_seconds", "Time from a message's arrival until it is safe on disk and acknowledged."),
	}
}

// Describe implements prometheus.Collector.
func (c *intakeCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range c.figures {
		ch <- f.desc
	}
	ch <- c.refused
	ch <- c.acknowledgement
}

// Collect implements prometheus.Collector. Every reason is there from the
// start, or rate() would miss the first.
func (c *intakeCollector) Collect(ch chan<- prometheus.Metric) {
	s := c.stats()
	for _, f := range c.figures {
		ch <- f.metric(s)
	}
	for _, reason := range ingest.Reasons() {
		ch <- prometheus.MustNewConstMetric(c.refused, prometheus.CounterValue, float64(s.Refused[reason]), string(reason))
	}
	count, below := cumulative(s.Latency)
	ch <- prometheus.MustNewConstHistogram(c.acknowledgement, count, s.Latency.Sum.Seconds(), below)
}

// cumulative turns counts by bucket into Prometheus' form: how many there are
// in all, and how many up to each upper edge in seconds.
func cumulative(l receive.Latency) (count uint64, below map[float64]uint64) {
	below = make(map[float64]uint64, len(l.Bounds))
	for i, n := range l.Counts {
		count += uint64(n)
		if i < len(l.Bounds) {
			below[l.Bounds[i].Seconds()] = count
		}
	}
	return count, below
}

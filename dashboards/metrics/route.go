package metrics

import (
	"context"
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Route is how telling engineers goes by one way, such as "e-mail".
type Route struct {
	Way                   string
	Sent, Failed, GivenUp int64     // messages told, attempts that failed and messages given up since the start
	Waiting               int64     // to be told when their time comes: a digest, the end of quiet hours
	Stuck                 int64     // messages that failed and are tried again
	OldestStuck           time.Time // when the oldest of them was made; zero without any
}

type routeCollector struct {
	routes  func(context.Context) ([]Route, error)
	figures []figure[Route]
	oldest  *prometheus.Desc
}

func newRouteCollector(routes func(context.Context) ([]Route, error)) *routeCollector {
	return &routeCollector{
		routes: routes,
		figures: []figure[Route]{
			counter("notifications_sent_total", "Messages to engineers that the other side took, by way.", func(r Route) int64 { return r.Sent }, "way"),
			counter("notification_failures_total", "Attempts to tell an engineer that failed; they are made again.", func(r Route) int64 { return r.Failed }, "way"),
			counter("notifications_given_up_total", "Messages that will never be told.", func(r Route) int64 { return r.GivenUp }, "way"),
			gauge("notifications_waiting", "What is told when its time comes, as in a digest.", func(r Route) int64 { return r.Waiting }, "way"),
			gauge("notifications_stuck", "Messages that failed and are tried again.", func(r Route) int64 { return r.Stuck }, "way"),
		},
		oldest: describe("notification_oldest_stuck_timestamp_seconds", "Unix time at which the oldest message was made that failed and is tried again; absent without one.", "way"),
	}
}

// Describe implements prometheus.Collector.
func (c *routeCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range c.figures {
		ch <- f.desc
	}
	ch <- c.oldest
}

// Collect implements prometheus.Collector.
func (c *routeCollector) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	routes, err := c.routes(ctx)
	if err != nil {
		ch <- prometheus.NewInvalidMetric(c.oldest, fmt.Errorf("read what is to be told: %w", err))
		return
	}
	for _, r := range routes {
		for _, f := range c.figures {
			ch <- f.metric(r, r.Way)
		}
		if !r.OldestStuck.IsZero() {
			ch <- prometheus.MustNewConstMetric(c.oldest, prometheus.GaugeValue, unixSeconds(r.OldestStuck), r.Way)
		}
	}
}

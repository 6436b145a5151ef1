// Package grafana makes the three dashboards that deploy/ hands to Grafana:
// fleet, plant and intake. The JSON files beside this code are what it makes;
// after a change of the code, go test ./dashboards/grafana -update writes them
// anew.
//
// Readings, site days and findings are drawn from InfluxDB with InfluxQL, how the
// service does from Prometheus. A seasonal performance factor over any span is
// heat by electricity, each summed first. Gaps stay gaps.
//
// The figures of days are those of analysis/job; a day stands at 00:00 UTC of its
// local date, so that east of Greenwich it is drawn on its own date.
package grafana

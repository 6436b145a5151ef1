// Package metrics tells machines how the service is doing: numbers for
// Prometheus, and whether it is healthy.
//
// The numbers are about the service, and of each plant the few that an alert asks
// for, as the lookout saw it last: readings rest in the store, where dashboards
// find them. The only label that grows is site, and only by the site records; the
// others take values from closed sets. Names follow the conventions of Prometheus: base units,
// counters end in _total, times are Unix seconds, and differences such as an age
// are left to the query.
//
// The contract: a scrape costs no reading of readings. A source that cannot
// answer takes only its own numbers off the page; it is logged, and counted in
// promhttp_metric_handler_errors_total. What is not known has no series: a site
// not looked at since the start, the flow of a plant that does not heat, the age of
// an empty journal, the database of a service that keeps its readings itself.
// Queries bridge a restart with last_over_time.
package metrics

package metrics

import (
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/store"
)

// Plants keep what the last look at each site showed, from the lookout that looks
// to the scrapes that ask.
type Plants struct {
	now     func() time.Time
	figures []plantFigure
	mu      sync.Mutex
	of      map[string]*sighting
}

// sighting is what a look showed. It is not changed once it is kept.
type sighting struct {
	at      time.Time
	watched job.Watched
	actions []store.Action
	raised  map[findingKey]raising
	metrics []prometheus.Metric // its figures: made once a look, not once a scrape
}

type findingKey struct {
	kind    string
	sinceMS int64
}

func keyOf(f *watch.Finding) findingKey { return findingKey{f.Kind, f.Since.UnixMilli()} }

// raising is how severe a finding is and since when, as far as looks followed it;
// at is zero where it has not become worse meanwhile.
type raising struct {
	severity watch.Severity
	at       time.Time
}

// NewPlants has seen nothing yet; now is the clock by which mutes end.
func NewPlants(now func() time.Time) *Plants {
	return &Plants{now: now, figures: plantFigures(), of: map[string]*sighting{}}
}

// Put keeps what a look at a site showed, and what engineers did about the
// findings of that site, in the order of their times.
func (p *Plants) Put(site string, at time.Time, watched job.Watched, actions []store.Action) {
	s := &sighting{at: at, watched: watched, actions: actions, raised: map[findingKey]raising{}}
	for _, f := range p.figures {
		if value := f.read(s); value != nil {
			s.metrics = append(s.metrics, prometheus.MustNewConstMetric(f.desc, prometheus.GaugeValue, *value, site))
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := range watched.Open {
		f := &watched.Open[i]
		r := raising{severity: f.Severity}
		if before := p.of[site]; before != nil {
			r = before.raised[keyOf(f)].next(f.Severity, at)
		}
		s.raised[keyOf(f)] = r
	}
	p.of[site] = s
}

// next is the raising at the look after.
func (r raising) next(now watch.Severity, at time.Time) raising {
	switch {
	case r.severity == "":
		return raising{severity: now}
	case r.severity != now && now.AtLeast(r.severity):
		return raising{now, at}
	}
	return raising{now, r.at}
}

// sites returns the last sight of these sites and forgets all others.
func (p *Plants) sites(ids []string) map[string]*sighting {
	p.mu.Lock()
	defer p.mu.Unlock()
	kept := make(map[string]*sighting, len(ids))
	for _, id := range ids {
		if s := p.of[id]; s != nil {
			kept[id] = s
		}
	}
	p.of = kept
	return kept
}

// plantFigure is a figure of a sighting; nil is not known.
type plantFigure struct {
	desc *prometheus.Desc
	read func(*sighting) *float64
}

const (
	joulePerKWh       = 3.6e6
	secondPerHour     = 3600
	secondPerMinute   = 60
	lphPerCubicMeterS = 3.6e6 // litres an hour in a cubic meter a second
)

// plantFigures are those of the last minutes and of the last whole day.
func plantFigures() []plantFigure {
	return []plantFigure{
		plain("last_look_timestamp_seconds", "Unix time at which the site was last looked at; absent until it is after a start.", func(s *sighting) *float64 { return new(unixSeconds(s.at)) }),
		seen("outdoor_celsius", "Outdoor temperature, of five minutes; absent when older than an hour.", func(g *watch.Glance) *float64 { return g.OutdoorC }),
		seen("flow_celsius", "Flow temperature, of five minutes, whatever the plant does; absent when older than an hour.", func(g *watch.Glance) *float64 { return g.FlowC }),
		seen("return_celsius", "Return temperature, of five minutes, whatever the plant does; absent when older than an hour.", func(g *watch.Glance) *float64 { return g.ReturnC }),
		seen("room_below_set_kelvin", "By how much the room that lacks most is below its set temperature; negative where all are warmer.", func(g *watch.Glance) *float64 { return g.RoomBelowSetK }),
		seen("flow_cubic_meters_per_second", "Flow rate of settled heating; absent when older than six hours.", func(g *watch.Glance) *float64 { return over(g.FlowRateLPH, lphPerCubicMeterS) }),
		seen("flow_limit_cubic_meters_per_second", "Flow rate below which the plant asks for attention, by its record and output.", func(g *watch.Glance) *float64 { return over(g.FlowLimitLPH, lphPerCubicMeterS) }),
		plain("day_start_timestamp_seconds", "Unix time at which the last whole local day began, which the other site_day figures are of.", dayStart),
		daily("day_coverage_ratio", "Part of the day with heat and electricity known.", "coverage", 1),
		daily("day_heat_joules", "Heat to rooms and hot water on the day, less what defrosts drew.", "net_kwh", joulePerKWh),
		daily("day_electricity_joules", "Electricity on the day.", "electricity_kwh", joulePerKWh),
		daily("day_backup_joules", "Electricity of the backup heater on the day.", "backup_electricity_kwh", joulePerKWh),
		daily("day_compressor_starts", "Starts of the compressor on the day.", "starts", 1),
		daily("day_compressor_run_seconds", "Time the compressor ran on the day, defrosts included.", "run_hours", secondPerHour),
		daily("day_defrost_seconds", "Time of defrosts on the day.", "defrost_minutes", secondPerMinute),
	}
}

func plain(name, help string, read func(*sighting) *float64) plantFigure {
	return plantFigure{describe("site_"+name, help, "site"), read}
}

func seen(name, help string, read func(*watch.Glance) *float64) plantFigure {
	return plain(name, help, func(s *sighting) *float64 { return read(&s.watched.Glance) })
}

func daily(name, help, figure string, factor float64) plantFigure {
	return plain(name, help, func(s *sighting) *float64 {
		if value, known := s.watched.LastDay.Figures[figure]; known {
			return new(value * factor)
		}
		return nil
	})
}

func over(value *float64, divisor float64) *float64 {
	if value == nil {
		return nil
	}
	return new(*value / divisor)
}

func dayStart(s *sighting) *float64 {
	if s.watched.LastDay.Figures == nil {
		return nil
	}
	return new(unixSeconds(s.watched.LastDay.From))
}

// plantCollector tells what looks at the sites of the records showed.
type plantCollector struct {
	plants          *Plants
	sites           func() []string
	findings, start *prometheus.Desc
}

func newPlantCollector(plants *Plants, sites func() []string) *plantCollector {
	return &plantCollector{
		plants: plants, sites: sites,
		findings: describe("site_findings", "Findings that last and are not muted, by severity and whether they are open or acknowledged.", "site", "severity", "state"),
		start: describe("site_finding_start_timestamp_seconds", "Unix time since when there has been a finding of that kind that lasts and is not muted; absent without one.",
			"site", "kind", "severity", "state"),
	}
}

// Describe implements prometheus.Collector.
func (c *plantCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range c.plants.figures {
		ch <- f.desc
	}
	ch <- c.findings
	ch <- c.start
}

// Collect implements prometheus.Collector. In the order of the records the page's
// sorting has little to do.
func (c *plantCollector) Collect(ch chan<- prometheus.Metric) {
	now, ids := c.plants.now(), c.sites()
	sightings := c.plants.sites(ids)
	for _, id := range ids {
		s := sightings[id]
		if s == nil {
			continue
		}
		for _, m := range s.metrics {
			ch <- m
		}
		c.collectFindings(ch, id, s.tally(now))
	}
}

func (c *plantCollector) collectFindings(ch chan<- prometheus.Metric, id string, t findingTally) {
	for _, severity := range store.Severities() {
		for _, state := range []string{stateOpen, stateAcknowledged} {
			n := t.count[standing{string(severity), state}]
			ch <- prometheus.MustNewConstMetric(c.findings, prometheus.GaugeValue, float64(n), id, string(severity), state)
		}
	}
	for f, since := range t.since {
		ch <- prometheus.MustNewConstMetric(c.start, prometheus.GaugeValue, unixSeconds(since), id, f.kind, f.severity, f.state)
	}
}

// The states of a finding that is not muted.
const stateOpen, stateAcknowledged = "open", "acknowledged"

type standing struct{ severity, state string }

type kindStanding struct {
	kind string // without place or channel, or the label would have no end
	standing
}

type findingTally struct {
	count map[standing]int
	since map[kindStanding]time.Time // the earliest
}

func (s *sighting) tally(now time.Time) findingTally {
	t := findingTally{map[standing]int{}, map[kindStanding]time.Time{}}
	for i := range s.watched.Open {
		f := &s.watched.Open[i]
		state, muted := s.state(f, now)
		if muted {
			continue
		}
		of := standing{string(f.Severity), state}
		t.count[of]++
		key := kindStanding{f.Name(), of}
		if since, ok := t.since[key]; !ok || f.Since.Before(since) {
			t.since[key] = f.Since
		}
	}
	return t
}

// state says what engineers made of a finding. One that became worse since it was
// acknowledged is open again, as for notifications, while the service runs.
func (s *sighting) state(f *watch.Finding, now time.Time) (state string, muted bool) {
	known := f.Since
	if raised := s.raised[keyOf(f)].at; raised.After(known) {
		known = raised
	}
	attitude := store.AttitudeTo(f.Kind, known, s.actions, now)
	if attitude.Acknowledged {
		return stateAcknowledged, attitude.Muted
	}
	return stateOpen, attitude.Muted
}

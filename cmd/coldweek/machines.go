package main

import (
	"net/http"
	"runtime/debug"

	"coldweek/dashboards/login"
	"coldweek/dashboards/metrics"
)

// routes is every address of the web listener: the pages behind the gate, and what
// machines ask. Those have no log-in: the numbers are for machines near by, and
// whether coldweek is well anybody may ask.
func (s *service) routes(gate *login.Gate, pages http.Handler) (http.Handler, error) {
	options := metrics.Options{
		Version: version(), Intake: s.intake.Stats, Quarantine: s.store.RefusalCounts, Sites: s.siteIDs, Logger: s.logger,
		Plants: s.plants, Tasks: s.tasks, Disk: diskOf(s.home.dataDir()),
	}
	if s.notifier != nil {
		options.Routes = s.notifications
	}
	if s.store.influx != nil {
		options.Journal = s.store.waiting
	}
	numbers, err := metrics.New(options)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("/", gate.Guard(pages))
	mux.Handle("GET /metrics", gate.Machines(numbers))
	mux.Handle("GET /healthz", metrics.Health(s.intake.Stats))
	return mux, nil
}

func (s *service) siteIDs() []string {
	records := s.siteRecords()
	ids := make([]string, len(records))
	for i, r := range records {
		ids[i] = r.ID
	}
	return ids
}

// version is that of the module as Go's build stamped it.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

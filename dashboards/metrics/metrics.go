package metrics

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"coldweek/ingest/receive"
	"coldweek/ingest/store"
)

// patience is how long a scrape waits for a source; Prometheus itself waits 10 s
// for the page unless told otherwise.
const patience = 2 * time.Second

// Options say where the numbers come from; the functions are called at each
// scrape, from many goroutines. What may be nil takes its numbers off the page.
type Options struct {
	Version    string // of the program
	Intake     func() receive.Stats
	Quarantine func(context.Context) ([]store.QuarantineCount, error)
	Sites      func() []string // ids of the site records
	Logger     *slog.Logger

	Plants  *Plants                                // may be nil
	Tasks   *Tasks                                 // may be nil
	Disk    func() (Disk, error)                   // may be nil
	Journal func(context.Context) (Journal, error) // nil where readings go to the store directly
	Routes  func(context.Context) ([]Route, error) // nil where nobody is told of findings
}

func (o Options) check() error {
	switch {
	case o.Version == "":
		return errors.New("metrics: no version")
	case o.Intake == nil:
		return errors.New("metrics: no intake")
	case o.Quarantine == nil:
		return errors.New("metrics: no quarantine")
	case o.Sites == nil:
		return errors.New("metrics: no sites")
	case o.Logger == nil:
		return errors.New("metrics: no logger")
	}
	return nil
}

// New returns the page that Prometheus scrapes.
func New(o Options) (http.Handler, error) {
	registry, err := newRegistry(o)
	if err != nil {
		return nil, err
	}
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{
		ErrorLog:      slog.NewLogLogger(o.Logger.Handler(), slog.LevelError),
		ErrorHandling: promhttp.ContinueOnError,
		Registry:      registry,
	}), nil
}

func newRegistry(o Options) (*prometheus.Registry, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	all := []prometheus.Collector{
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		buildInfo(o.Version),
		newIntakeCollector(o.Intake),
		newSiteCollector(o.Intake, o.Sites, o.Plants),
		newQuarantineCollector(o.Quarantine),
	}
	registry := prometheus.NewRegistry()
	for _, c := range append(all, o.others()...) {
		if err := registry.Register(c); err != nil {
			return nil, fmt.Errorf("metrics: %w", err)
		}
	}
	return registry, nil
}

// others are the collectors of what may be nil.
func (o Options) others() (list []prometheus.Collector) {
	if o.Plants != nil {
		list = append(list, newPlantCollector(o.Plants, o.Sites))
	}
	if o.Tasks != nil {
		list = append(list, o.Tasks.duration, o.Tasks.failures, o.Tasks.success)
	}
	if o.Disk != nil {
		list = append(list, newDiskCollector(o.Disk))
	}
	if o.Journal != nil {
		list = append(list, newJournalCollector(o.Journal))
	}
	if o.Routes != nil {
		list = append(list, newRouteCollector(o.Routes))
	}
	return list
}

func buildInfo(version string) prometheus.Collector {
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name:        "coldweek_build_info",
		Help:        "Always 1; the labels say what is running.",
		ConstLabels: prometheus.Labels{"version": version, "goversion": runtime.Version()},
	}, func() float64 { return 1 })
}

package web

import (
	"errors"
	"log/slog"
	"net/http"
	"time"

	"coldweek/analysis/job"
	"coldweek/ingest/site"
)

// Options are what the pages need. All but Notice must be given.
type Options struct {
	Store  job.Store
	Sites  func() []*site.Record // called for each page, so records may change
	Now    func() time.Time
	Logger *slog.Logger
	// Notice returns a line shown at the top of every page, "" for none, such
	// as how far a demonstration has come. It may be nil.
	Notice func() string
}

func (o Options) check() error {
	switch {
	case o.Store == nil:
		return errors.New("pages: no store")
	case o.Sites == nil:
		return errors.New("pages: no sites")
	case o.Now == nil:
		return errors.New("pages: no clock")
	case o.Logger == nil:
		return errors.New("pages: no logger")
	}
	return nil
}

// server makes the pages.
type server struct {
	Options
	templates templates
	assets    assets
	looks     *looks
	patience  time.Duration // of the list of plants
}

// New returns the pages as a handler.
func New(o Options) (http.Handler, error) {
	s, err := newServer(o)
	if err != nil {
		return nil, err
	}
	return s.guard(s.routes()), nil
}

func newServer(o Options) (*server, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if o.Notice == nil {
		o.Notice = func() string { return "" }
	}
	s := &server{Options: o, looks: newLooks(o), patience: fleetPatience}
	var err error
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	s.templates, err = parseTemplates()
	return s, err
}

// routes is every address there is.
func (s *server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/{$}", s.page(s.fleet))
	mux.Handle("/plants/{id}", s.page(s.plant))
	mux.Handle("/plants/{id}/trace.svg", s.drawing(s.traceSVG))
	mux.Handle("/plants/{id}/days.svg", s.drawing(s.daysSVG))
	mux.Handle("/static/{name}", s.assets)
	mux.Handle("/", s.page(s.nothing))
	return mux
}

// record returns a plant by its id.
func (s *server) record(id string) (*site.Record, error) {
	for _, r := range s.Sites() {
		if r.ID == id {
			return r, nil
		}
	}
	return nil, notFound("No plant is called %q", id)
}

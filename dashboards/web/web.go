package web

import (
	"errors"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"coldweek/analysis/job"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// Store is what pages read, and where what people do about findings is kept.
type Store interface {
	job.WatchStore
	store.Quarantine
}

// Options are what the pages need. Store, Sites, Now and Logger must be given.
type Options struct {
	Store  Store
	Sites  func() []*site.Record // called for each page, so records may change
	Now    func() time.Time
	Logger *slog.Logger
	// Notice returns a line shown at the top of every page, "" for none, such
	// as how far a demonstration has come. It may be nil.
	Notice func() string

	// Who names who asks and says whether they may change things. Nil is a
	// deployment without accounts: then who sits at this machine may change
	// things when Loopback says that nobody else can reach the pages.
	Who      func(*http.Request) (name string, mayChange bool)
	Loopback bool
	// FormToken returns what every form must carry in the field FormTokenField,
	// for who checks it. It may be nil.
	FormToken func(*http.Request) string

	// NotesOnly says that who asks may see the notes of one plant and nothing else,
	// so that pages lead nowhere else. It may be nil.
	NotesOnly func(*http.Request) bool

	Watched  job.Watching         // where nothing was noticed, whether somebody looked; nil: not known
	Intake   func() receive.Stats // what came in since the start; nil: not known
	Notes    Archive              // of performance notes; nil: none
	Drafts   Drafts               // of notes that wait for their release; nil: none
	SitesDir string               // folder of the site records, for visits; "": they cannot be written
	// Closing is closed when the server shuts down, and ends what streams. It may
	// be nil.
	Closing <-chan struct{}
}

// FormTokenField is the hidden field of every form that changes something.
const FormTokenField = "form_token"

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
	answers   *answers
	hours     *hourBook
	streams   chan struct{} // taken by each page that is followed live
	writing   sync.Mutex    // of site records
	mux       *http.ServeMux
	sections  []section     // of a plant
	patience  time.Duration // of the list of plants
}

// New returns the pages as a handler.
func New(o Options) (http.Handler, error) {
	s, err := newServer(o)
	if err != nil {
		return nil, err
	}
	return s.guarded(), nil
}

func newServer(o Options) (*server, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if o.Notice == nil {
		o.Notice = func() string { return "" }
	}
	s := &server{Options: o, looks: newLooks(o), streams: make(chan struct{}, mostStreams), patience: fleetPatience}
	var err error
	if s.answers, err = newAnswers(o); err != nil {
		return nil, err
	}
	if s.hours, err = newHourBook(s.answers); err != nil {
		return nil, err
	}
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	if s.templates, err = parseTemplates(); err != nil {
		return nil, err
	}
	s.mux = s.routes()
	s.sections = servedSections(s.mux)
	return s, nil
}

// routes is every address there is. Only what begins with POST changes anything.
func (s *server) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mux.Handle("/{$}", s.page(s.fleet))
	mux.Handle("/findings", s.page(s.inbox))
	mux.Handle("/intake", s.page(s.intake))
	mux.Handle("/plants/{id}", s.page(s.plant))
	mux.Handle("/plants/{id}/findings", s.page(s.plantFindings))
	mux.Handle("/plants/{id}/findings/{finding...}", s.page(s.finding))
	mux.Handle("POST /plants/{id}/findings/{finding...}", s.page(s.actOnFinding))
	mux.Handle("/plants/{id}/review", s.page(newReviews(s).page))
	mux.Handle("/plants/{id}/energy", s.section("energy", withoutFits, energyPage))
	mux.Handle("/plants/{id}/house", s.section("house", withFits, housePage))
	mux.Handle("/plants/{id}/running", s.section("running", withoutFits, runningPage))
	mux.Handle("/plants/{id}/hydraulics", s.section("hydraulics", withFits, hydraulicsPage))
	mux.Handle("/plants/{id}/hot-water", s.section("hot-water", withoutFits, hotWaterPage))
	mux.Handle("/plants/{id}/sensors", s.page(s.sensors))
	mux.Handle("/plants/{id}/record", s.page(s.recordPage))
	mux.Handle("/plants/{id}/visit", s.page(s.visit))
	mux.Handle("POST /plants/{id}/visit", s.page(s.writeVisit))
	mux.HandleFunc("/live", s.fleetLive)
	mux.HandleFunc("/plants/{id}/live", s.live)
	mux.Handle("/plants/{id}/notes", s.page(s.notes))
	mux.HandleFunc("/plants/{id}/notes/{file}", s.noteFile)
	mux.Handle("/notes", s.page(s.monthNotes))
	mux.Handle("/plants/{id}/drafts/{month}", s.page(s.draft))
	mux.Handle("POST /plants/{id}/drafts/{month}", s.page(s.releaseDraft))
	mux.HandleFunc("/plants/{id}/drafts/{month}/{file}", s.draftFile)
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

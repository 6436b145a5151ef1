package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/analysis/job"
	"coldweek/dashboards/metrics"
	"coldweek/dashboards/notify"
	"coldweek/dashboards/web"
	"coldweek/ingest/broker"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
)

const (
	recordsEvery = 5 * time.Second // how often changed site records are looked for
	sealEvery    = time.Hour
	// sealAfter leaves the latest readings as rows, into which late ones fall
	// cheaply; older ones are packed.
	sealAfter = time.Hour
	// daysEvery keeps the latest days summed up, so that pages are quick; each
	// time daysBack days of every site are looked over.
	daysEvery = 10 * time.Minute
	daysBack  = 15
	// webGrace is how long open pages may finish when the service stops.
	webGrace = 5 * time.Second
)

// service is everything that serve and demo run together.
type service struct {
	home    home
	config  config
	logger  *slog.Logger
	notice  func() string
	store   *stores
	records atomic.Pointer[[]*site.Record]
	allowed atomic.Pointer[map[string][]string] // site -> topics its record maps
	intake  *receive.Intake

	notifier *notify.Notifier     // nil: nobody is told of findings
	catchUp  func(id string) bool // says that a site's history is still coming in, so that it is no use to watch it; nil: of none

	plants *metrics.Plants
	tasks  *metrics.Tasks

	broker     *broker.Broker
	subscriber *receive.Subscriber
	listener   net.Listener
	web        *http.Server
}

// newService wires the parts and opens what listens.
func newService(ctx context.Context, h home, c config, st *stores, logger *slog.Logger, notice func() string) (*service, error) {
	s := &service{
		home: h, config: c, logger: logger, notice: notice, store: st,
		plants: metrics.NewPlants(time.Now), tasks: metrics.NewTasks(time.Now),
	}
	decoder, err := s.readRecords()
	if err != nil {
		return nil, err
	}
	if s.intake, err = receive.NewIntake(receive.Options{Sink: st, Decoder: decoder, Logger: logger}); err != nil {
		return nil, err
	}
	if c.Notify != nil {
		if s.notifier, err = c.Notify.open(ctx, h, st.Actions, logger); err != nil {
			return nil, err
		}
	}
	if err := s.openBroker(); err != nil {
		return nil, err
	}
	if err := s.openSubscriber(decoder); err != nil {
		return nil, err
	}
	return s, s.openWeb(ctx)
}

// readRecords loads the site records; those with mistakes are left out and
// told of, unless none is right.
func (s *service) readRecords() (*payload.Decoder, error) {
	records, err := site.LoadAll(s.home.sitesDir())
	if err != nil && len(records) == 0 {
		return nil, err
	}
	if err != nil {
		s.logger.Error("some site records have mistakes and are left out; see coldweek site check", "error", err)
	}
	decoder, err := payload.NewDecoder(records)
	if err != nil {
		return nil, err
	}
	allowed := map[string][]string{}
	for _, r := range records {
		for _, source := range r.Channels {
			if source.Topic != "" {
				allowed[r.ID] = append(allowed[r.ID], source.Topic)
			}
		}
	}
	s.records.Store(&records)
	s.allowed.Store(&allowed)
	return decoder, nil
}

// siteRecords are the records as they were last read.
func (s *service) siteRecords() []*site.Record { return *s.records.Load() }

func (s *service) openBroker() error {
	b := s.config.Broker
	if b == nil {
		return nil
	}
	logins, err := broker.ReadLogins(s.home.loginsPath())
	if err != nil {
		return err
	}
	s.broker, err = broker.New(broker.Options{
		Listen: b.Listen, TLSCertFile: b.TLSCertFile, TLSKeyFile: b.TLSKeyFile,
		Logins: logins, Intake: s.intake, Logger: s.logger,
		Allowed:      func(id, topic string) bool { return slices.Contains((*s.allowed.Load())[id], topic) },
		ArrivalsFile: filepath.Join(s.home.dataDir(), "broker.arrivals"),
	})
	return err
}

func (s *service) openSubscriber(decoder *payload.Decoder) error {
	c := s.config.Subscribe
	if c == nil {
		return nil
	}
	var err error
	s.subscriber, err = receive.NewSubscriber(receive.SubscriberOptions{
		URL: c.URL, ClientID: c.ClientID, Username: c.Username, PasswordFile: c.PasswordFile,
		CAFile: c.CAFile, CertFile: c.CertFile, KeyFile: c.KeyFile, SharedGroup: c.SharedGroup,
		Filters: decoder.Filters(), Intake: s.intake, Logger: s.logger,
		ArrivalsFile: filepath.Join(s.home.dataDir(), "subscriber.arrivals"),
	})
	return err
}

func (s *service) openWeb(ctx context.Context) error {
	gate, err := s.openGate()
	if err != nil {
		return err
	}
	closing := make(chan struct{})
	writer, err := s.home.notes(s.store)
	if err != nil {
		return err
	}
	pages, err := web.New(web.Options{
		Store: s.store, Sites: s.siteRecords, Notes: issuedNotes{writer.Archive, s.siteRecords},
		Drafts: waitingNotes{writer, s.siteRecords, s.config.Notify != nil && s.config.Notify.SMTP != nil},
		Now:    time.Now, Logger: s.logger, Notice: s.notice,
		Who: gate.Who, FormToken: gate.FormToken, NotesOnly: gate.ByLink,
		Watched: writer.Archive.Watched, Intake: s.intake.Stats, SitesDir: s.home.sitesDir(), Closing: closing,
	})
	if err != nil {
		return err
	}
	all, err := s.routes(gate, pages)
	if err != nil {
		return err
	}
	if s.listener, err = (&net.ListenConfig{}).Listen(ctx, "tcp", s.config.Web.Listen); err != nil {
		return fmt.Errorf("open web: %w; choose another address under web: listen: in %s", err, s.home.configPath())
	}
	s.web = pageServer(all)
	s.web.RegisterOnShutdown(func() { close(closing) })
	return nil
}

// url is where the pages are.
func (s *service) url() string { return "http://" + s.listener.Addr().String() }

// run works until ctx ends or a part fails. The sources stop first; then the
// intake commits what they handed over.
func (s *service) run(ctx context.Context) error {
	intakeCtx, stopIntake := context.WithCancel(context.WithoutCancel(ctx))
	defer stopIntake()
	intakeDone := make(chan error, 1)
	go func() { intakeDone <- s.intake.Run(intakeCtx) }()

	parts, ctx := errgroup.WithContext(ctx)
	if s.broker != nil {
		parts.Go(func() error { return s.broker.Run(ctx) })
	}
	if s.subscriber != nil {
		parts.Go(func() error { return s.subscriber.Run(ctx) })
	}
	parts.Go(func() error { return s.serveWeb(ctx) })
	parts.Go(func() error { return s.watchRecords(ctx) })
	parts.Go(func() error { return s.seal(ctx) })
	if s.store.influx != nil {
		parts.Go(func() error { return s.forward(ctx) })
	}
	parts.Go(func() error { return s.keepDays(ctx) })
	parts.Go(func() error { return s.keepWatch(ctx) })
	parts.Go(func() error { return s.postNotes(ctx) })
	if s.notifier != nil {
		parts.Go(func() error { return s.notifier.Run(ctx) })
	}
	err := parts.Wait()
	stopIntake()
	err = errors.Join(ignoreCancelled(err), ignoreCancelled(<-intakeDone))
	if s.notifier != nil {
		err = errors.Join(err, s.notifier.Close())
	}
	return err
}

func ignoreCancelled(err error) error {
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

func (s *service) serveWeb(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() {
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), webGrace)
		defer cancel()
		if err := s.web.Shutdown(grace); err != nil {
			s.logger.Warn("pages were cut off", "error", err)
		}
	})
	defer stop()
	if err := s.web.Serve(s.listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve web: %w", err)
	}
	return nil
}

// watchRecords takes in changed site records without a restart.
func (s *service) watchRecords(ctx context.Context) error {
	before := s.home.recordsStamp()
	for every(ctx, recordsEvery) {
		now := s.home.recordsStamp()
		if now == before {
			continue
		}
		before = now
		decoder, err := s.readRecords()
		if err != nil {
			s.logger.Error("changed site records were not taken; the former ones hold", "error", err)
			continue
		}
		s.intake.SetDecoder(decoder)
		if s.subscriber != nil {
			s.subscriber.SetFilters(decoder.Filters())
		}
		s.logger.Info("site records read again", "sites", len(s.siteRecords()))
	}
	return ctx.Err()
}

// forward sends what waits in the journal to InfluxDB.
func (s *service) forward(ctx context.Context) error {
	if err := s.store.influx.Ping(ctx); err != nil && ctx.Err() == nil {
		s.logger.Warn("readings are taken in and will be sent on when InfluxDB answers", "error", err)
	}
	return s.store.influx.Forward(ctx)
}

// seal packs finished days.
func (s *service) seal(ctx context.Context) error {
	for {
		if err := s.tasks.Do(ctx, metrics.Seal, s.sealOnce); err != nil && ctx.Err() == nil {
			s.logger.Error("finished days were not packed; trying again later", "error", err)
		}
		if !every(ctx, sealEvery) {
			return ctx.Err()
		}
	}
}

func (s *service) sealOnce(ctx context.Context) error {
	report, err := s.store.file.Seal(ctx, time.Now().Add(-sealAfter))
	if err == nil {
		s.logger.Debug("finished days packed", "report", report)
	}
	return err
}

// keepDays sums up what came in lately.
func (s *service) keepDays(ctx context.Context) error {
	for {
		for _, record := range s.siteRecords() {
			to := time.Now().In(record.Zone())
			window := job.WindowAround(to.AddDate(0, 0, -daysBack), to)
			err := s.tasks.Do(ctx, metrics.Days, func(ctx context.Context) error {
				_, err := job.Days(ctx, s.store, record, window, nil)
				return err
			})
			if err != nil && ctx.Err() == nil {
				s.logger.Error("days were not summed up; trying again later", "site", record.ID, "error", err)
			}
		}
		if !every(ctx, daysEvery) {
			return ctx.Err()
		}
	}
}

// every waits and says whether to go on.
func every(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

package notify

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/gofrs/flock"

	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/store"
)

// Options of a Notifier. Path is required.
type Options struct {
	Path      string // of the outbox
	Engineers []Engineer
	Mail      *deliver.MailServer
	Broker    *deliver.Broker
	PagesURL  string // of the pages, for links; none when empty
	Home      string // folder of the deployment, for the commands that letters name
	ClientID  string // tells apart deployments that use the same broker

	// Actions returns what engineers did about a site's findings, in the order
	// of their times.
	Actions func(ctx context.Context, site string) ([]store.Action, error)

	Now    func() time.Time // time.Now when nil
	Logger *slog.Logger     // silent when nil
}

// Notifier keeps what is to be told and tells it.
type Notifier struct {
	options Options
	log     *slog.Logger
	box     *outbox
	poked   chan struct{} // something may be due
	atMost  time.Duration // a wait, so that a clock that was set is noticed

	mu    sync.Mutex
	busy  map[queue]bool // with a round
	tidy  time.Time      // when the outbox was last pruned
	tally map[Way]Tally  // counts since Open
	rests sync.WaitGroup
}

const (
	keepFor   = 90 * 24 * time.Hour // after it was settled
	tidyEvery = 24 * time.Hour

	// farthest is longer than anything waits: for the digest after next, say.
	// What is due later was put while the clock was wrong.
	farthest = 72 * time.Hour
)

// Open opens the outbox, made when it is not there. The error wraps what package
// sqlitefile says of a file that cannot be used.
func Open(ctx context.Context, o Options) (*Notifier, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	box, err := openOutbox(ctx, o.Path)
	if err != nil {
		return nil, err
	}
	return &Notifier{
		options: o, log: o.Logger, box: box, poked: make(chan struct{}, 1), atMost: time.Minute, busy: map[queue]bool{}, tally: map[Way]Tally{},
	}, nil
}

// Close closes the outbox; Run must have returned.
func (n *Notifier) Close() error { return n.box.db.Close() }

// Put takes events over: when it returns nil they are on disk, all of them, and
// will be told as far as they concern anyone. Events that were put before change
// nothing. An error leaves all of them out.
func (n *Notifier) Put(ctx context.Context, events ...Event) error {
	now := n.options.Now()
	for i := range events {
		if err := events[i].Check(); err != nil {
			return fmt.Errorf("keep event on %s of %q: %w", events[i].Kind, events[i].Site, err)
		}
	}
	err := n.box.write(ctx, func(tx *sql.Tx) error {
		for _, e := range events {
			if e.At.IsZero() {
				e.At = now
			}
			id, fresh, err := addEvent(ctx, tx, &e, now)
			if err == nil && fresh {
				err = n.route(ctx, tx, id, &e, now)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keep events: %w", err)
	}
	n.poke()
	return nil
}

func (n *Notifier) poke() {
	select {
	case n.poked <- struct{}{}:
	default:
	}
}

// engineer returns who is told by that way, nil when coldweek.yaml has no such
// engineer or way any more.
func (n *Notifier) engineer(name string, way Way) *Engineer {
	for i := range n.options.Engineers {
		g := &n.options.Engineers[i]
		if g.Name != name {
			continue
		}
		for _, w := range g.ways() {
			if w == way {
				return g
			}
		}
	}
	return nil
}

// Run tells what is due until ctx ends. Only one process may do so for an
// outbox; a second one gets an error.
func (n *Notifier) Run(ctx context.Context) error {
	lock := flock.New(n.options.Path + ".lock")
	held, err := lock.TryLock()
	if err != nil {
		return fmt.Errorf("lock outbox: %w", err)
	}
	if !held {
		return fmt.Errorf("outbox %q: another process sends from it; stop that one first", n.options.Path)
	}
	defer func() { _ = lock.Unlock() }()
	defer n.rests.Wait()
	n.start(ctx)
	for ctx.Err() == nil {
		next, err := n.step(ctx)
		if err != nil && ctx.Err() == nil {
			n.log.Error("notifications are held up", "error", err)
		}
		n.wait(ctx, next)
	}
	return nil
}

// start tries anew what found its way closed, as a start may be because that was
// mended, and greets who was not told yet. Nothing of it may keep the rest from
// being told.
func (n *Notifier) start(ctx context.Context) {
	now := n.options.Now()
	err := errors.Join(n.box.retry(ctx, now), n.greet(ctx, now))
	if err != nil && ctx.Err() == nil {
		n.log.Error("notifications are held up", "error", err)
	}
}

// wait returns when something may be due.
func (n *Notifier) wait(ctx context.Context, next time.Time) {
	timer := time.NewTimer(max(0, min(next.Sub(n.options.Now()), n.atMost)))
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-n.poked:
	case <-timer.C:
	}
}

// step makes messages of what is due, begins to send what is to be sent, and
// returns when to look again.
func (n *Notifier) step(ctx context.Context) (next time.Time, err error) {
	now := n.options.Now()
	next = now.Add(n.atMost)
	if err := n.box.clamp(ctx, now, farthest); err != nil {
		return next, err
	}
	if err := n.compose(ctx, now); err != nil {
		return next, err
	}
	queues, err := n.box.queues(ctx, now)
	if err != nil {
		return next, err
	}
	for _, q := range queues {
		n.begin(ctx, q)
	}
	if err := n.prune(ctx, now); err != nil {
		return next, err
	}
	at, some, err := n.box.next(ctx, now)
	if some && at.Before(next) {
		next = at
	}
	return next, err
}

// begin sends from a queue, unless that is being done, and looks again after it:
// a way that is slow holds up no other.
func (n *Notifier) begin(ctx context.Context, q queue) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.busy[q] {
		return
	}
	n.busy[q] = true
	n.rests.Go(func() {
		err := n.round(ctx, q)
		n.mu.Lock()
		delete(n.busy, q)
		n.mu.Unlock()
		if err != nil && !errors.Is(err, context.Canceled) {
			n.log.Error("notifications are held up", "engineer", q.engineer, "way", q.way, "error", err)
			return // after a while
		}
		n.poke()
	})
}

// prune forgets, once a day, what was settled long ago.
func (n *Notifier) prune(ctx context.Context, now time.Time) error {
	if now.Sub(n.tidy) < tidyEvery {
		return nil
	}
	if err := n.box.prune(ctx, now.Add(-keepFor)); err != nil {
		return fmt.Errorf("prune outbox: %w", err)
	}
	n.tidy = now
	return nil
}

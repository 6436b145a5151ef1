package influx

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"time"

	"github.com/gofrs/flock"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

const (
	lockPoll    = 250 * time.Millisecond // between tries for the lock
	journalPoll = time.Second            // between looks for what other processes appended
)

// Forward sends what waits in the journal until ctx ends, then returns nil. One
// process forwards a journal at a time; the others wait for their turn.
func (s *Store) Forward(ctx context.Context) error {
	unlock, err := s.lock(ctx)
	if err != nil {
		return endOf(ctx, err)
	}
	defer unlock()
	pauses := s.newPauses()
	for {
		if err := s.await(ctx); err != nil {
			return endOf(ctx, err)
		}
		if err := pauses.after(ctx, s.forwardSome(ctx)); err != nil {
			return endOf(ctx, err)
		}
	}
}

func endOf(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return fmt.Errorf("forward readings to InfluxDB: %w", err)
}

func (s *Store) newLock() *flock.Flock { return flock.New(s.options.Journal.Path() + ".lock") }

func (s *Store) lock(ctx context.Context) (unlock func(), err error) {
	lock := s.newLock()
	if _, err := lock.TryLockContext(ctx, lockPoll); err != nil {
		return nil, fmt.Errorf("lock %q: %w", lock.Path(), err)
	}
	return func() { _ = lock.Unlock() }, nil
}

// await returns when something waits and has been given time to gather.
func (s *Store) await(ctx context.Context) error {
	for {
		depth, err := s.options.Journal.Depth(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil || depth.Readings >= int64(s.options.BatchSize) {
			return nil // forwardSome tells of an error
		}
		if depth.Readings > 0 {
			return sleep(ctx, s.options.Linger)
		}
		poll := time.NewTimer(journalPoll)
		select {
		case <-ctx.Done():
		case <-s.options.Journal.Appended():
		case <-poll.C:
		}
		poll.Stop()
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// Drain returns when nothing waits in the journal, which it forwards itself
// unless somebody else does. Progress, when given, is told how many readings
// are left. When ctx ends first, the error says what held them up.
func (s *Store) Drain(ctx context.Context, progress func(left int64)) error {
	lock := s.newLock()
	defer func() { _ = lock.Unlock() }()
	pauses := s.newPauses()
	var last error
	for {
		depth, err := s.options.Journal.Depth(ctx)
		if err != nil {
			return fmt.Errorf("drain the journal: %w", errors.Join(err, last))
		}
		if progress != nil {
			progress(depth.Readings)
		}
		if depth.Batches == 0 {
			return nil
		}
		mine, err := lock.TryLock()
		switch {
		case err != nil:
			return fmt.Errorf("drain the journal: lock %q: %w", lock.Path(), err)
		case mine:
			err := s.forwardSome(ctx)
			if err != nil && ctx.Err() == nil {
				last = err
			}
			err = pauses.after(ctx, err)
			if err != nil {
				return fmt.Errorf("drain the journal, %d readings left: %w", depth.Readings, errors.Join(err, last))
			}
		default:
			if err := sleep(ctx, lockPoll/10); err != nil {
				return fmt.Errorf("drain the journal, which another process forwards, %d readings left: %w", depth.Readings, err)
			}
		}
	}
}

// pauses grow from one failure to the next.
type pauses struct {
	store *Store
	next  time.Duration
}

func (s *Store) newPauses() *pauses { return &pauses{store: s, next: s.options.FirstPause} }

// after tells of a failure and waits until it is worth while, and safe, to try
// again; nil starts the pauses anew.
func (p *pauses) after(ctx context.Context, failure error) error {
	if failure == nil {
		p.next = p.store.options.FirstPause
		return ctx.Err()
	}
	doubt := false
	for ; failure != nil; failure = p.store.back(ctx, doubt) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		doubt = doubt || underway(failure)
		p.store.stats.failed(failure)
		p.store.known.forget() // the bucket may be another when the server is back
		pause := p.grow(failure)
		p.store.options.Logger.WarnContext(ctx, "readings wait in the journal", "err", failure, "again_in", pause.Round(time.Millisecond))
		if err := sleep(ctx, pause); err != nil {
			return err
		}
	}
	if doubt {
		return sleep(ctx, p.store.options.Settle)
	}
	return ctx.Err()
}

// underway says that the server may yet do what it was asked to: a frozen one,
// or a proxy, has the request in its hands when we have given up. Done after a
// later write, it would bring old values back. So nothing is sent until the
// server has answered something else and has had time to settle.
func underway(failure error) bool {
	if answer := (*statusError)(nil); errors.As(failure, &answer) {
		return answer.status >= 500 && answer.status != http.StatusServiceUnavailable
	}
	dial := (*net.OpError)(nil)
	never := errors.As(failure, &dial) && dial.Op == "dial"
	unreachable := (*unreachableError)(nil)
	return errors.As(failure, &unreachable) && !never
}

// back returns why the server does not answer; without doubt about what is
// underway that need not be asked.
func (s *Store) back(ctx context.Context, doubt bool) error {
	if !doubt {
		return nil
	}
	if err := s.Ping(ctx); err != nil && matterOf(err) == passing {
		return err
	}
	return nil
}

// grow returns the pause after a failure, with some chance in it so that many
// ingesters do not come back at once, and makes the next one longer.
func (p *pauses) grow(failure error) time.Duration {
	pause := p.next
	p.next = min(2*p.next, p.store.options.LongestPause)
	if m := matterOf(failure); m == setup || m == unclear {
		pause = p.store.options.LongestPause
	}
	pause = pause/2 + rand.N(pause/2+1)
	if answer := (*statusError)(nil); errors.As(failure, &answer) {
		pause = max(pause, answer.retryAfter)
	}
	return pause
}

// forwardSome sends the oldest of what waits and drops it from the journal. An
// error has dropped nothing; what was sent already is sent again, which changes
// nothing.
func (s *Store) forwardSome(ctx context.Context) error {
	batches, err := s.options.Journal.Next(ctx, s.options.BatchSize)
	if damaged := (*journal.DamagedError)(nil); errors.As(err, &damaged) {
		s.options.Logger.ErrorContext(ctx, "damaged batch of the journal", "err", err)
		return s.options.Journal.SetAside(ctx, damaged.ID)
	}
	if err != nil || len(batches) == 0 {
		return err
	}
	all := gather(batches)
	d := delivery{store: s}
	for part := range slices.Chunk(all, s.options.BatchSize) { // one batch may be larger
		if err := d.settle(ctx, part); err != nil {
			return err
		}
	}
	kept := all.without(d.refused)
	if err := s.note(ctx, notesOf(s.options.Journal.Writer(), batches, kept)); err != nil {
		return err
	}
	if err := s.refuse(ctx, d.refused); err != nil {
		return err
	}
	if err := s.options.Journal.Drop(ctx, batches.Through()); err != nil {
		return err
	}
	s.stats.forwarded(len(kept), len(d.refused))
	return nil
}

// refusedSample is a reading that InfluxDB will never keep.
type refusedSample struct {
	sample
	why error
}

// refuse puts readings into quarantine.
func (s *Store) refuse(ctx context.Context, refused []refusedSample) error {
	if len(refused) == 0 {
		return nil
	}
	items := make([]ingest.Rejected, len(refused))
	for i, r := range refused {
		line, err := samples{r.sample}.encode()
		if err != nil {
			return err
		}
		items[i] = ingest.Rejected{
			Arrived: s.options.Now(),
			Site:    r.site,
			Topic:   "InfluxDB reading/" + string(r.channel),
			Reason:  ingest.StoreRefused,
			Detail:  fmt.Sprintf("%g at %s: %v", r.value, time.UnixMilli(r.ms).UTC().Format(time.RFC3339Nano), r.why),
			Payload: ingest.CutPayload(line),
		}
	}
	if err := s.Refuse(ctx, items); err != nil {
		return err
	}
	s.options.Logger.WarnContext(ctx, "InfluxDB refuses readings, which are in quarantine now",
		"readings", len(refused), "first_site", refused[0].site, "first_channel", refused[0].channel, "err", refused[0].why)
	return nil
}

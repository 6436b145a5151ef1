package receive

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sort"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// Run commits what is submitted until ctx ends, then everything that was
// accepted before it returns. Submit after that returns ErrStopped. The error
// tells of messages that could not be kept within the grace period; their
// submitters were told too.
func (in *Intake) Run(ctx context.Context) error {
	work, cancel := graceful(ctx, in.opts.Grace)
	defer cancel()
	lost, err := 0, error(nil)
	commit := func(group []entry) {
		if failure := in.commit(work, group); failure != nil {
			lost, err = lost+len(group), failure
		}
	}
	for in.gather(ctx) {
		commit(in.take())
	}
	in.close()
	for group := in.take(); len(group) > 0; group = in.take() {
		commit(group)
	}
	if err != nil {
		return fmt.Errorf("stop the intake: %d messages were not kept and not acknowledged: %w", lost, err)
	}
	return nil
}

func (in *Intake) close() {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.stopped = true
}

// graceful returns a context that ends the grace period after ctx does.
func graceful(ctx context.Context, grace time.Duration) (context.Context, context.CancelFunc) {
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		select {
		case <-time.After(grace):
			cancel()
		case <-work.Done():
		}
	})
	return work, func() { stop(); cancel() }
}

// gather waits until there is a group worth committing; false when ctx ended.
func (in *Intake) gather(ctx context.Context) bool {
	for {
		wait := in.look()
		if wait == 0 {
			return ctx.Err() == nil
		}
		var quiet <-chan time.Time // never, when nothing waits
		if wait > 0 {
			quiet = time.After(wait)
		}
		select {
		case <-ctx.Done():
			return false
		case <-in.wake:
		case <-quiet:
		}
	}
}

// look returns how long to wait for more messages: 0 when the group should be
// committed, less when there is none.
func (in *Intake) look() time.Duration {
	in.mu.Lock()
	defer in.mu.Unlock()
	if len(in.waiting) == 0 {
		return -1
	}
	if in.full() {
		return 0
	}
	now := time.Now()
	quiet := min(max(in.pace.patience(), in.opts.Quiet), in.opts.MaxQuiet) - now.Sub(in.pace.last)
	return max(0, min(quiet, in.opts.MaxWait-now.Sub(in.waiting[0].since)))
}

// take removes the oldest messages, up to MaxGroup readings.
func (in *Intake) take() []entry {
	in.mu.Lock()
	defer in.mu.Unlock()
	n, load := 0, 0
	for n < len(in.waiting) && (n == 0 || load+len(in.waiting[n].readings) <= in.opts.MaxGroup) {
		load += len(in.waiting[n].readings)
		n++
	}
	group := in.waiting[:n:n]
	in.waiting = append([]entry(nil), in.waiting[n:]...) // lets go of the payloads taken
	in.load -= load
	return group
}

// commit makes a group durable and tells its submitters.
func (in *Intake) commit(work context.Context, group []entry) error {
	changed, extra, err := in.persist(work, group)
	in.tally.commit(group, extra, changed, err)
	weight := 0
	for _, e := range group {
		weight += e.weight
		e.done(err)
	}
	in.room.Release(int64(weight))
	in.mu.Lock()
	in.pace.answer(time.Now())
	in.mu.Unlock()
	return err
}

// persist tries until the group is on disk or work ends. It returns how many
// readings changed the store and what only the store refused.
func (in *Intake) persist(work context.Context, group []entry) (changed int64, extra []ingest.Rejected, err error) {
	batch, refused := join(group)
	if len(batch) > 0 {
		err = in.retry(work, "keep readings", len(group), func() error {
			var bad []int
			changed, bad, err = in.keep(work, batch, 0)
			extra = blame(group, bad)
			return err
		})
		if err != nil {
			return 0, nil, err
		}
	}
	refused = append(refused, extra...)
	if len(refused) > 0 {
		err = in.retry(work, "quarantine messages", len(group), func() error {
			return in.opts.Sink.Refuse(work, refused)
		})
	}
	return changed, extra, err
}

func join(group []entry) (batch []ingest.Reading, refused []ingest.Rejected) {
	for _, e := range group {
		batch = append(batch, e.readings...)
		refused = append(refused, e.refused...)
	}
	return batch, refused
}

// keep appends a batch. When the sink refuses it for what a reading is, the
// batch is halved until the bad ones are found; their indexes, counted from
// offset, are returned and the others kept. Any other error is returned: the
// whole batch may be appended again, since that changes nothing.
func (in *Intake) keep(work context.Context, batch []ingest.Reading, offset int) (changed int64, bad []int, err error) {
	changed, err = in.opts.Sink.Append(work, batch)
	if err == nil {
		in.tally.kept(batch)
	}
	if !errors.Is(err, store.ErrReading) {
		return changed, nil, err
	}
	if len(batch) == 1 {
		in.opts.Logger.Warn("the store refuses a reading", "site", batch[0].Site, "channel", batch[0].Channel, "error", err)
		return 0, []int{offset}, nil
	}
	half := len(batch) / 2
	changed, bad, err = in.keep(work, batch[:half], offset)
	if err != nil {
		return changed, bad, err
	}
	more, worse, err := in.keep(work, batch[half:], offset+half)
	return changed + more, append(bad, worse...), err
}

// blame finds the messages of readings that the sink refused.
func blame(group []entry, bad []int) []ingest.Rejected {
	ends := make([]int, len(group))
	total := 0
	for i, e := range group {
		total += len(e.readings)
		ends[i] = total
	}
	rejected := make([]ingest.Rejected, 0, len(bad))
	for _, b := range bad {
		i := sort.SearchInts(ends, b+1)
		e := group[i]
		r := e.readings[b-(ends[i]-len(e.readings))]
		rejected = append(rejected, ingest.Rejected{
			Arrived: e.message.Arrived,
			Site:    r.Site,
			Topic:   e.message.Topic,
			Reason:  ingest.ImpossibleValue,
			Detail:  fmt.Sprintf("the store refuses %s of %g at %s", r.Channel, r.Value, r.Time.UTC().Format(time.RFC3339Nano)),
			Payload: ingest.CutPayload(e.message.Payload),
		})
	}
	return rejected
}

// The pauses between attempts of a failing commit grow from the first to the
// last; the failure is logged at once and then every reportEvery.
const (
	firstPause  = 50 * time.Millisecond
	lastPause   = 5 * time.Second
	reportEvery = 30 * time.Second
)

// retry calls act until it succeeds or work ends.
func (in *Intake) retry(work context.Context, what string, messages int, act func() error) error {
	err := act()
	if err == nil {
		return nil
	}
	began, reported := time.Now(), time.Time{}
	for pause := firstPause; err != nil; pause = min(2*pause, lastPause) {
		in.tally.failed(err)
		if time.Since(reported) >= reportEvery {
			reported = time.Now()
			in.opts.Logger.Error("cannot "+what+", senders wait unacknowledged and it is tried again",
				"messages", messages, "since", time.Since(began).Round(time.Second), "error", err)
		}
		select {
		case <-work.Done():
			return fmt.Errorf("%s: %w", what, err)
		case <-time.After(jitter(pause)):
		}
		err = act()
	}
	in.opts.Logger.Info("the store works again", "after", time.Since(began).Round(time.Millisecond))
	return nil
}

// jitter spreads a pause over ±25 %, so that many clients do not return at
// the same moment.
func jitter(pause time.Duration) time.Duration {
	return time.Duration(float64(pause) * (0.75 + rand.Float64()/2))
}

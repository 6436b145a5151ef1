package receive

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/semaphore"

	"coldweek/ingest"
)

// Sink is where readings and refused messages rest, as package store has it:
// both methods return when the data is on disk, the same reading twice
// changes nothing, and an error of Append that lies in a reading wraps
// store.ErrReading.
type Sink interface {
	Append(ctx context.Context, batch []ingest.Reading) (changed int64, err error)
	Refuse(ctx context.Context, items []ingest.Rejected) error
}

// Decoder turns one message into readings. It is called from many goroutines
// at once.
type Decoder interface {
	Decode(topic string, body []byte, arrived time.Time) ([]ingest.Reading, []ingest.Rejected)
}

// Message is one MQTT message.
type Message struct {
	Topic   string
	Payload []byte
	Arrived time.Time // when it was first delivered; zero means now

	// Retained says that the broker kept the message since some unknown
	// time, so the time of arrival says nothing about its values.
	Retained bool
}

// Options configure an Intake. Sink, Decoder and Logger are required.
type Options struct {
	Sink    Sink
	Decoder Decoder
	Logger  *slog.Logger
	Now     func() time.Time // wall clock for times of arrival; time.Now when nil

	// A group is committed when it has Enough readings or Window messages
	// (a source that allows so many unacknowledged ones sends no more), when
	// no message has come for a while, and after MaxWait at the latest. The
	// while is Quiet for senders that wait for their acknowledgement to go on,
	// and up to MaxQuiet for those that do not: at 50 messages a second,
	// committing each would wear the disk for nothing. See pace.
	Enough   int           // 500 readings when 0
	Window   int           // no such limit when 0
	Quiet    time.Duration // 2 ms when 0
	MaxQuiet time.Duration // 50 ms when 0
	MaxWait  time.Duration // 500 ms when 0

	// MaxGroup bounds the readings of one commit.
	MaxGroup int // 20,000 when 0

	// MaxPending bounds the readings held in memory; Submit blocks beyond it.
	MaxPending int // 100,000 when 0

	// Grace is how long a stop waits for a store that fails.
	Grace time.Duration // 10 s when 0
}

// Values used where Options are zero.
const (
	defaultEnough     = 500 // commits of so many cost hardly more a reading than larger ones
	defaultQuiet      = 2 * time.Millisecond
	defaultMaxQuiet   = 50 * time.Millisecond
	defaultMaxWait    = 500 * time.Millisecond
	defaultMaxGroup   = 20_000
	defaultMaxPending = 100_000
	defaultGrace      = 10 * time.Second
)

// ErrStopped says that the intake takes no more messages; the message was not
// kept and must not be acknowledged.
var ErrStopped = errors.New("the intake has stopped")

// Intake collects messages from all sources into group commits.
type Intake struct {
	opts    Options
	decoder atomic.Pointer[Decoder]
	room    *semaphore.Weighted
	wake    chan struct{} // something waits, or the group is full
	tally   tally

	mu      sync.Mutex
	waiting []entry
	load    int // readings waiting
	pace    pace
	stopped bool
}

// entry is a decoded message that waits for its commit.
type entry struct {
	message  Message
	readings []ingest.Reading
	refused  []ingest.Rejected
	weight   int       // room held, in readings
	since    time.Time // monotonic: Options.Now may jump
	done     func(error)
}

// NewIntake returns an Intake; Run makes it work.
func NewIntake(opts Options) (*Intake, error) {
	if opts.Sink == nil || opts.Decoder == nil || opts.Logger == nil {
		return nil, errors.New("intake needs a sink, a decoder and a logger")
	}
	if opts.Now == nil {
		opts.Now = time.Now
	}
	opts.Enough = cmp.Or(opts.Enough, defaultEnough)
	opts.Quiet = cmp.Or(opts.Quiet, defaultQuiet)
	opts.MaxQuiet = max(opts.Quiet, cmp.Or(opts.MaxQuiet, defaultMaxQuiet))
	opts.MaxGroup = cmp.Or(opts.MaxGroup, defaultMaxGroup)
	opts.MaxWait = cmp.Or(opts.MaxWait, defaultMaxWait)
	opts.MaxPending = cmp.Or(opts.MaxPending, defaultMaxPending)
	opts.Grace = cmp.Or(opts.Grace, defaultGrace)
	in := &Intake{
		opts: opts,
		room: semaphore.NewWeighted(int64(opts.MaxPending)),
		wake: make(chan struct{}, 1),
	}
	in.SetDecoder(opts.Decoder)
	return in, nil
}

// SetDecoder replaces the decoder, for when site records change. Messages
// already waiting keep what the former one made of them.
func (in *Intake) SetDecoder(d Decoder) { in.decoder.Store(&d) }

// Submit decodes a message and queues it, blocking while the queue is full.
// When it returns nil, done is called exactly once, from the committing
// goroutine, so it must not block: with nil when the message is on disk, or
// with an error, after which the message must not be acknowledged. When
// Submit returns an error, done is never called.
//
// The payload must not be changed before done is called.
func (in *Intake) Submit(ctx context.Context, m Message, done func(error)) error {
	e := in.decode(m)
	e.done = done
	if err := in.room.Acquire(ctx, int64(e.weight)); err != nil {
		return fmt.Errorf("wait for room in the intake: %w", err)
	}
	if !in.enqueue(e) {
		in.room.Release(int64(e.weight))
		return ErrStopped
	}
	return nil
}

// Publish hands over a message and returns when it is on disk. An error means
// that it is not known to be: the caller must not acknowledge it.
func (in *Intake) Publish(ctx context.Context, m Message) error {
	result := make(chan error, 1)
	if err := in.Submit(ctx, m, func(err error) { result <- err }); err != nil {
		return err
	}
	return await(ctx, result)
}

// Refuse puts a message straight into quarantine, for a source that knows
// better than the decoder, and returns when it is on disk.
func (in *Intake) Refuse(ctx context.Context, r ingest.Rejected) error {
	result := make(chan error, 1)
	e := entry{refused: []ingest.Rejected{r}, weight: 1, since: time.Now(), done: func(err error) { result <- err }}
	if err := in.room.Acquire(ctx, 1); err != nil {
		return fmt.Errorf("wait for room in the intake: %w", err)
	}
	if !in.enqueue(e) {
		in.room.Release(1)
		return ErrStopped
	}
	return await(ctx, result)
}

func await(ctx context.Context, result <-chan error) error {
	select {
	case err := <-result:
		return err
	case <-ctx.Done():
		return fmt.Errorf("wait for the commit: %w", ctx.Err())
	}
}

// bytesPerReading is the payload that weighs as much as one reading, so that
// few large messages are held back like many small ones.
const bytesPerReading = 256

func (in *Intake) decode(m Message) entry {
	if m.Arrived.IsZero() {
		m.Arrived = in.opts.Now()
	}
	e := entry{message: m, since: time.Now()}
	e.readings, e.refused = (*in.decoder.Load()).Decode(m.Topic, m.Payload, m.Arrived)
	if m.Retained {
		e.readings = in.timed(m, e.readings)
	}
	weight := max(1, len(e.readings)+len(e.refused), len(m.Payload)/bytesPerReading)
	e.weight = min(weight, in.opts.MaxPending)
	return e
}

// timed returns the readings whose time is their own: those that come out the
// same when the message is taken to have arrived at another time. A retained
// value without a time is no reading, since nobody knows when it was true.
func (in *Intake) timed(m Message, readings []ingest.Reading) []ingest.Reading {
	other, _ := (*in.decoder.Load()).Decode(m.Topic, m.Payload, m.Arrived.Add(-time.Hour))
	kept := make([]ingest.Reading, 0, len(readings))
	for i, r := range readings {
		if i < len(other) && r.Time.Equal(other[i].Time) {
			kept = append(kept, r)
		}
	}
	return kept
}

func (in *Intake) enqueue(e entry) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	if in.stopped {
		return false
	}
	in.waiting = append(in.waiting, e)
	in.load += len(e.readings)
	in.pace.arrive(time.Now(), in.opts.Quiet, in.opts.MaxQuiet)
	if len(in.waiting) == 1 || in.full() {
		select {
		case in.wake <- struct{}{}:
		default:
		}
	}
	return true
}

// full says whether waiting for more is not worth it. Callers hold mu.
func (in *Intake) full() bool {
	return in.load >= in.opts.Enough || (in.opts.Window > 0 && len(in.waiting) >= in.opts.Window)
}

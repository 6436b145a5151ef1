package receive

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// memory is a sink that shows what it was given and fails on request.
type memory struct {
	mu      sync.Mutex
	groups  [][]ingest.Reading // one a successful Append
	refused []ingest.Rejected
	fail    func(batch []ingest.Reading) error
	slow    time.Duration
}

func (m *memory) Append(ctx context.Context, batch []ingest.Reading) (int64, error) {
	if m.slow > 0 {
		select {
		case <-time.After(m.slow):
		case <-ctx.Done():
			return 0, ctx.Err()
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		if err := m.fail(batch); err != nil {
			return 0, err
		}
	}
	m.groups = append(m.groups, append([]ingest.Reading(nil), batch...))
	return int64(len(batch)), nil
}

func (m *memory) Refuse(_ context.Context, items []ingest.Rejected) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		if err := m.fail(nil); err != nil {
			return err
		}
	}
	m.refused = append(m.refused, items...)
	return nil
}

func (m *memory) setFail(f func([]ingest.Reading) error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fail = f
}

func (m *memory) values() []float64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	var values []float64
	for _, g := range m.groups {
		for _, r := range g {
			values = append(values, r.Value)
		}
	}
	return values
}

// numbers decodes a bare number as a power at its arrival, "@" before it as
// one with a time of its own; anything else is refused.
type numbers struct{}

var ownTime = time.Date(2024, 1, 14, 6, 0, 0, 0, time.UTC)

func (numbers) Decode(topic string, body []byte, arrived time.Time) ([]ingest.Reading, []ingest.Rejected) {
	text, at := string(body), arrived
	if len(text) > 0 && text[0] == '@' {
		text, at = text[1:], ownTime
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return nil, []ingest.Rejected{{Arrived: arrived, Topic: topic, Reason: ingest.BadPayload, Payload: ingest.CutPayload(body)}}
	}
	return []ingest.Reading{{Site: "mill", Channel: "power", Time: at, Value: v}}, nil
}

func number(v int) Message {
	return Message{Topic: "coldweek/mill/power", Payload: []byte(strconv.Itoa(v))}
}

func newTestIntake(t *testing.T, sink Sink, change func(*Options)) *Intake {
	t.Helper()
	opts := Options{Sink: sink, Decoder: numbers{}, Logger: slog.New(slog.DiscardHandler)}
	if change != nil {
		change(&opts)
	}
	in, err := NewIntake(opts)
	require.NoError(t, err)
	return in
}

// start runs the intake and returns a function that stops it and hands back
// what Run said.
func start(t *testing.T, in *Intake) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	result := make(chan error, 1)
	go func() { result <- in.Run(ctx) }()
	return func() error { cancel(); return <-result }
}

func TestGroupsShareACommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		var done sync.WaitGroup
		for i := range 50 {
			done.Go(func() { assert.NoError(t, in.Publish(t.Context(), number(i))) })
		}
		done.Wait()
		require.NoError(t, stop())
		assert.Len(t, sink.groups, 1, "all that waits at the same time is one commit")
		assert.Len(t, sink.values(), 50)
		s := in.Stats()
		assert.EqualValues(t, 50, s.Messages)
		assert.EqualValues(t, 50, s.Readings)
		assert.EqualValues(t, 1, s.Commits)
		assert.Zero(t, s.Queued)
	})
}

func TestCommitComesNoLaterThanMaxWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, func(o *Options) { o.MaxWait = 100 * time.Millisecond })
		stop := start(t, in)
		began := time.Now()
		var first time.Duration
		require.NoError(t, in.Submit(t.Context(), number(0), func(error) { first = time.Since(began) }))
		for i := range 300 { // a stream that never goes quiet
			time.Sleep(time.Millisecond)
			require.NoError(t, in.Submit(t.Context(), number(i), func(error) {}))
		}
		require.NoError(t, stop())
		assert.Greater(t, first, 90*time.Millisecond, "the stream never goes quiet before")
		assert.LessOrEqual(t, first, 103*time.Millisecond)
	})
}

func TestEnoughReadingsAreCommittedAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, func(o *Options) { o.Enough, o.Quiet = 20, 500*time.Millisecond })
		stop := start(t, in)
		began := time.Now()
		var done sync.WaitGroup
		for i := range 20 {
			done.Go(func() { assert.NoError(t, in.Publish(t.Context(), number(i))) })
		}
		done.Wait()
		assert.Less(t, time.Since(began), 10*time.Millisecond)
		require.NoError(t, stop())
	})
}

func TestCommitsAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{slow: time.Second}
		in := newTestIntake(t, sink, func(o *Options) { o.Enough, o.MaxGroup = 10, 10 })
		stop := start(t, in)
		for i := range 35 {
			require.NoError(t, in.Submit(t.Context(), number(i), func(error) {}))
		}
		require.NoError(t, stop())
		for i, v := range sink.values() {
			require.InDelta(t, float64(i), v, 0, "in the order of submission")
		}
		require.Len(t, sink.values(), 35)
		for _, g := range sink.groups {
			assert.LessOrEqual(t, len(g), 10)
		}
	})
}

// TestPaceOfCommits: a sender that goes on when it is acknowledged is not kept
// waiting; the disk is spared where nobody waits.
func TestPaceOfCommits(t *testing.T) {
	const messages = 500
	run := func(t *testing.T, send func(ctx context.Context, in *Intake, i int) error) (commits int64, took time.Duration) {
		synctest.Test(t, func(t *testing.T) {
			sink := &memory{slow: time.Millisecond}
			in := newTestIntake(t, sink, nil)
			stop := start(t, in)
			began := time.Now()
			for i := range messages {
				assert.NoError(t, send(t.Context(), in, i))
			}
			took = time.Since(began)
			require.NoError(t, stop())
			require.Len(t, sink.values(), messages)
			commits = in.Stats().Commits
		})
		return commits, took
	}
	_, took := run(t, func(ctx context.Context, in *Intake, i int) error { return in.Publish(ctx, number(i)) })
	assert.Less(t, took, messages*4*time.Millisecond, "one after the other")

	commits, took := run(t, func(ctx context.Context, in *Intake, i int) error {
		time.Sleep(20 * time.Millisecond)
		return in.Submit(ctx, number(i), func(error) {})
	})
	assert.Less(t, commits, int64(4*took.Seconds()), "50 a second share 2 commits a second")
}

func TestFullWindowCommitsAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, func(o *Options) { o.Window, o.Quiet = 20, 500*time.Millisecond })
		stop := start(t, in)
		began := time.Now()
		var done sync.WaitGroup
		for i := range 20 {
			done.Go(func() { assert.NoError(t, in.Publish(t.Context(), number(i))) })
		}
		done.Wait()
		assert.Less(t, time.Since(began), 10*time.Millisecond)
		require.NoError(t, stop())
	})
}

func TestFailingStoreHoldsSendersBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		sink.setFail(func([]ingest.Reading) error { return errors.New("disk full") })
		in := newTestIntake(t, sink, func(o *Options) { o.MaxPending = 10 })
		stop := start(t, in)
		var done sync.WaitGroup
		acknowledged := make(chan int, 100)
		for i := range 30 {
			done.Go(func() {
				assert.NoError(t, in.Publish(t.Context(), number(i)))
				acknowledged <- i
			})
		}
		time.Sleep(time.Hour)
		assert.Empty(t, acknowledged, "nothing is acknowledged while the store fails")
		s := in.Stats()
		assert.LessOrEqual(t, s.Queued, 10, "memory is bounded")
		assert.Greater(t, s.Failures, int64(100), "it is tried again and again")
		sink.setFail(nil)
		done.Wait()
		assert.Len(t, acknowledged, 30)
		assert.Len(t, sink.values(), 30, "each kept once")
		require.NoError(t, stop())
	})
}

func TestStopCommitsWhatWasAccepted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{slow: 300 * time.Millisecond}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		kept, given := 0, 0
		for i := range 40 {
			require.NoError(t, in.Submit(t.Context(), number(i), func(err error) {
				if err == nil {
					kept++
				}
			}))
			given++
			time.Sleep(10 * time.Millisecond)
		}
		require.NoError(t, stop())
		assert.Equal(t, given, kept)
		assert.Len(t, sink.values(), given)
		assert.ErrorIs(t, in.Submit(t.Context(), number(0), nil), ErrStopped)
	})
}

func TestStopWithAFailingStoreTellsTheSenders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		full := errors.New("disk full")
		sink.setFail(func([]ingest.Reading) error { return full })
		in := newTestIntake(t, sink, func(o *Options) { o.Grace = 3 * time.Second })
		stop := start(t, in)
		var told []error
		for i := range 3 {
			require.NoError(t, in.Submit(t.Context(), number(i), func(err error) { told = append(told, err) }))
		}
		time.Sleep(time.Second)
		began := time.Now()
		err := stop()
		assert.ErrorIs(t, err, full)
		assert.ErrorContains(t, err, "3 messages")
		assert.InDelta(t, 3, time.Since(began).Seconds(), 0.5)
		require.Len(t, told, 3)
		for _, err := range told {
			assert.ErrorIs(t, err, full)
		}
		assert.EqualValues(t, 3, in.Stats().Lost)
	})
}

func TestRefusedIsQuarantinedBeforeItIsAcknowledged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		err := in.Publish(t.Context(), Message{Topic: "coldweek/mill/power", Payload: []byte("warm")})
		require.NoError(t, err)
		require.Len(t, sink.refused, 1)
		assert.Equal(t, "warm", string(sink.refused[0].Payload))

		sink.setFail(func([]ingest.Reading) error { return errors.New("disk full") })
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		err = in.Publish(ctx, Message{Topic: "coldweek/mill/power", Payload: []byte("cold")})
		assert.ErrorIs(t, err, context.DeadlineExceeded, "no acknowledgement without quarantine")
		sink.setFail(nil)
		require.NoError(t, stop())
		assert.EqualValues(t, 2, in.Stats().Refused[ingest.BadPayload])
	})
}

func TestPoisonousReadingIsFoundAndOnlyItQuarantined(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		poison := map[float64]bool{3: true, 17: true, 18: true, 39: true}
		sink := &memory{}
		sink.setFail(func(batch []ingest.Reading) error {
			for _, r := range batch {
				if poison[r.Value] {
					return fmt.Errorf("append %g: %w", r.Value, store.ErrReading)
				}
			}
			return nil
		})
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		var done sync.WaitGroup
		for i := range 40 {
			done.Go(func() { assert.NoError(t, in.Publish(t.Context(), number(i))) })
		}
		done.Wait()
		require.NoError(t, stop())
		var quarantined []float64
		for _, r := range sink.refused {
			v, err := strconv.ParseFloat(string(r.Payload), 64)
			require.NoError(t, err)
			quarantined = append(quarantined, v)
			assert.Equal(t, "mill", r.Site)
			assert.Equal(t, "coldweek/mill/power", r.Topic)
		}
		assert.ElementsMatch(t, []float64{3, 17, 18, 39}, quarantined)
		assert.Len(t, sink.values(), 36)
		assert.EqualValues(t, 36, in.Stats().Readings)
	})
}

func TestRetainedValueNeedsATimeOfItsOwn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		for _, payload := range []string{"12", "@13"} {
			require.NoError(t, in.Publish(t.Context(), Message{Topic: "coldweek/mill/power", Payload: []byte(payload), Retained: true}))
		}
		require.NoError(t, stop())
		assert.Equal(t, []float64{13}, sink.values())
	})
}

func TestNewDecoderIsUsedFromThenOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		require.NoError(t, in.Publish(t.Context(), number(1)))
		in.SetDecoder(nothing{})
		require.NoError(t, in.Publish(t.Context(), number(2)))
		require.NoError(t, stop())
		assert.Equal(t, []float64{1}, sink.values())
		assert.EqualValues(t, 2, in.Stats().Messages)
	})
}

type nothing struct{}

func (nothing) Decode(string, []byte, time.Time) ([]ingest.Reading, []ingest.Rejected) {
	return nil, nil
}

func TestLatencyHistogramCountsEveryMessage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{slow: 400 * time.Millisecond}
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		require.NoError(t, in.Publish(t.Context(), number(1)))
		require.NoError(t, stop())
		l := in.Stats().Latency
		for i, count := range l.Counts {
			inBucket := i < len(l.Bounds) && l.Bounds[i] == 500*time.Millisecond
			assert.Equal(t, inBucket, count == 1, "bucket %d holds %d", i, count)
		}
		assert.InDelta(t, 0.402, l.Sum.Seconds(), 0.01)
	})
}

// TestNewestReadingOfEachSite: the store refuses one reading, the latest of
// all, and keeps the others, which come out of order.
func TestNewestReadingOfEachSite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		refused := ownTime.Add(time.Hour)
		sink := &memory{}
		sink.setFail(func(batch []ingest.Reading) error {
			for _, r := range batch {
				if r.Time.Equal(refused) {
					return fmt.Errorf("append %g: %w", r.Value, store.ErrReading)
				}
			}
			return nil
		})
		in := newTestIntake(t, sink, func(o *Options) { o.Decoder = ahead{} })
		assert.Empty(t, in.Stats().Newest, "nothing is known of sites that were not heard")
		stop := start(t, in)
		for _, seconds := range []string{"mill 20", "hall 70", "mill 40", "mill 30", "hall 60", "mill 3600"} {
			require.NoError(t, in.Submit(t.Context(), Message{Payload: []byte(seconds)}, func(err error) { assert.NoError(t, err) }))
		}
		require.NoError(t, stop())
		assert.Equal(t, map[string]time.Time{"mill": ownTime.Add(40 * time.Second), "hall": ownTime.Add(70 * time.Second)}, in.Stats().Newest)
		assert.Equal(t, map[string]int64{"mill": 4, "hall": 2}, in.Stats().Heard)
	})
}

// ahead decodes "site n" as a reading n seconds after ownTime.
type ahead struct{}

func (ahead) Decode(_ string, body []byte, _ time.Time) ([]ingest.Reading, []ingest.Rejected) {
	id, text, _ := strings.Cut(string(body), " ")
	seconds, err := strconv.Atoi(text)
	if err != nil {
		return nil, []ingest.Rejected{{Reason: ingest.BadPayload}}
	}
	return []ingest.Reading{{Site: id, Channel: "power", Time: ownTime.Add(time.Duration(seconds) * time.Second), Value: 1}}, nil
}

func TestTroubleIsToldWhileItLasts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		full := errors.New("disk full")
		sink.setFail(func([]ingest.Reading) error { return full })
		in := newTestIntake(t, sink, nil)
		stop := start(t, in)
		require.NoError(t, in.Stats().Trouble)
		require.NoError(t, in.Submit(t.Context(), number(1), func(err error) { assert.NoError(t, err) }))
		time.Sleep(time.Minute)
		require.ErrorIs(t, in.Stats().Trouble, full)
		sink.setFail(nil)
		time.Sleep(time.Minute)
		require.NoError(t, in.Stats().Trouble)
		require.NoError(t, stop())
	})
}

package notify

import (
	"context"
	"errors"
	"fmt"
	"time"

	"coldweek/dashboards/notify/deliver"
)

const (
	firstPause = 30 * time.Second
	lastPause  = 30 * time.Minute

	// giveUpAfter is as long as mail servers try (RFC 5321, section 4.5.4.1). By
	// then there were far more attempts than leastAttempts, unless the clock was
	// wrong.
	giveUpAfter   = 5 * 24 * time.Hour
	leastAttempts = 20

	// mostInVain is how many messages of a queue may fail for now, one after the
	// other, before the rest wait too.
	mostInVain = 3
)

// queue is one engineer's messages by one way.
type queue struct {
	engineer string
	way      Way
}

// pause grows with the attempts made.
func pause(attempts int) time.Duration {
	return min(firstPause<<min(attempts, 10), lastPause)
}

// round sends what a queue holds, in order. When the way turns out to be closed,
// the rest waits. When one message fails, the others go on, but for those that
// tell of the same finding.
func (n *Notifier) round(ctx context.Context, q queue) error {
	messages, err := n.box.unsent(ctx, q)
	if err != nil || len(messages) == 0 {
		return err
	}
	g := n.engineer(q.engineer, q.way)
	if g == nil {
		return n.giveUpAll(messages, fmt.Errorf("coldweek.yaml has no %s of %s", q.way, q.engineer))
	}
	if messages, err = n.withoutQuiet(g, messages); err != nil || len(messages) == 0 {
		return err
	}
	line, err := n.connect(ctx, g, q.way, "findings")
	if err != nil {
		return n.failAll(ctx, messages, err)
	}
	defer line.Close()
	r := round{n: n, engineer: g, line: line, held: map[string]time.Time{}}
	for i, m := range messages {
		err := r.send(ctx, m)
		if err != nil && ctx.Err() != nil {
			return nil // stopped in the midst of it, which says nothing of the way
		}
		var closed *closedError
		if errors.As(err, &closed) {
			return n.failAll(ctx, messages[i:], closed.reason)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// round is one going through a queue.
type round struct {
	n        *Notifier
	engineer *Engineer
	line     line
	held     map[string]time.Time // findings of which a message waits, and until when
	inVain   int                  // failures since the last success
}

// closedError says that the way is closed.
type closedError struct{ reason error }

func (e *closedError) Error() string { return e.reason.Error() }

// send sends one message and notes what became of it. The error is a closedError
// when no other need be tried.
func (r *round) send(ctx context.Context, m message) error {
	events, err := r.n.box.events(ctx, m.id)
	if err != nil {
		return err
	}
	if wait := r.waits(&m, events); !wait.IsZero() {
		r.hold(events, wait)
		return r.n.box.set(ctx, m.id, "next_ms = max(next_ms, ?)", wait.UnixMilli())
	}
	if m.way == MQTT {
		if events, err = r.n.box.withStanding(ctx, m.engineer, events); err != nil {
			return err
		}
	}
	err = r.line.tell(ctx, r.n.telling(r.engineer, m, events))
	if err == nil {
		r.inVain = 0
		r.n.count(m.way, func(t *Tally) { t.Sent++ })
		r.n.log.Info("told", "engineer", m.engineer, "way", m.way, "message", m.token, "attempts", m.attempts+1)
		return r.n.box.set(ctx, m.id, "sent_ms = ?, attempts = attempts + 1, error = ''", r.n.options.Now().UnixMilli())
	}
	failure := deliver.AsFailure(err)
	if r.inVain++; ctx.Err() != nil || failure.Scope == deliver.All || failure.Scope == deliver.One && r.inVain == mostInVain {
		return &closedError{err}
	}
	again, err := r.n.fail(m, failure)
	r.hold(events, again)
	return err
}

// waits returns until when a message is not to be sent: it has a time of its own,
// or an earlier one about the same finding waits.
func (r *round) waits(m *message, events []Event) (until time.Time) {
	if m.scope == string(deliver.One) && m.next.After(r.n.options.Now()) {
		return m.next
	}
	for i := range events {
		if at := r.held[events[i].finding()]; at.After(until) {
			until = at
		}
	}
	return until
}

// hold keeps back what later messages tell of the same findings; nothing when
// the time is zero.
func (r *round) hold(events []Event, until time.Time) {
	for i := range events {
		if !until.IsZero() {
			r.held[events[i].finding()] = until
		}
	}
}

// withoutQuiet lets messages wait that the engineer's quiet hours hold back.
func (n *Notifier) withoutQuiet(g *Engineer, messages []message) ([]message, error) {
	var now []message
	for _, m := range messages {
		at := n.options.Now()
		if opens := g.Opens(at, m.urgent); m.way != MQTT && opens.After(at) {
			if err := n.box.set(context.Background(), m.id, "next_ms = ?", opens.UnixMilli()); err != nil {
				return nil, err
			}
			continue
		}
		now = append(now, m)
	}
	return now, nil
}

// failAll counts an attempt at the first message, and lets the others wait with
// it.
func (n *Notifier) failAll(ctx context.Context, messages []message, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	failure := deliver.AsFailure(err)
	failure = &deliver.Failure{Scope: deliver.All, Pause: max(failure.Pause, pause(messages[0].attempts)), Err: failure.Err}
	if _, err := n.fail(messages[0], failure); err != nil {
		return err
	}
	for _, m := range messages[1:] {
		if n.expired(messages[0]) && n.old(m) {
			if err := n.giveUp(m, failure); err != nil {
				return err
			}
			continue
		}
		if err := n.box.set(ctx, m.id, "next_ms = ?, scope = ?", n.options.Now().Add(failure.Pause).UnixMilli(), failure.Scope); err != nil {
			return err
		}
	}
	return nil
}

// fail notes a failure and returns when to try again, zero for never.
func (n *Notifier) fail(m message, f *deliver.Failure) (again time.Time, err error) {
	if f.Scope == deliver.Never || n.expired(m) {
		return again, n.giveUp(m, f)
	}
	n.count(m.way, func(t *Tally) { t.Failed++ })
	wait := max(f.Pause, pause(m.attempts))
	again = n.options.Now().Add(wait)
	n.log.Warn("not told yet", "engineer", m.engineer, "way", m.way, "message", m.token, "attempts", m.attempts+1, "again_in", wait, "error", f.Err)
	return again, n.box.set(context.Background(), m.id, "attempts = attempts + 1, next_ms = ?, scope = ?, error = ?", again.UnixMilli(), f.Scope, f.Err.Error())
}

func (n *Notifier) expired(m message) bool { return n.old(m) && m.attempts >= leastAttempts }

func (n *Notifier) old(m message) bool { return n.options.Now().Sub(m.created) >= giveUpAfter }

func (n *Notifier) giveUp(m message, why error) error {
	n.count(m.way, func(t *Tally) { t.GivenUp++ })
	n.log.Error("given up: this engineer is not told by this way", "engineer", m.engineer, "way", m.way, "message", m.token,
		"since", m.created.UTC().Format(time.RFC3339), "attempts", m.attempts+1, "error", why)
	return n.box.set(context.Background(), m.id, "attempts = attempts + 1, given_up_ms = ?, error = ?", n.options.Now().UnixMilli(), why.Error())
}

func (n *Notifier) giveUpAll(messages []message, why error) error {
	var errs []error
	for _, m := range messages {
		errs = append(errs, n.giveUp(m, why))
	}
	return errors.Join(errs...)
}

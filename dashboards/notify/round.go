package notify

import (
	"context"
	"errors"
	"fmt"
	"time"

	"coldweek/dashboards/notify/deliver"
)

const (
	firstPause  = 30 * time.Second
	lastPause   = 30 * time.Minute
	giveUpAfter = 5 * 24 * time.Hour // as long as mail servers try, RFC 5321, section 4.5.4.1

	// inVain is how many messages of a queue may fail for now, one after the
	// other, before the rest wait too.
	inVain = 3
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
// the rest waits; when one message fails, the others go on.
func (n *Notifier) round(ctx context.Context, q queue) error {
	messages, err := n.box.unsent(ctx, q, n.options.Now())
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
	failed := 0
	for i, m := range messages {
		err := n.send(ctx, line, g, m)
		if ctx.Err() != nil && err != nil {
			return nil // stopped in the midst of it, which says nothing of the way
		}
		failed++
		if err == nil {
			failed = 0
			n.log.Info("told", "engineer", m.engineer, "way", m.way, "message", m.token, "attempts", m.attempts+1)
			err = n.box.set(ctx, m.id, "sent_ms = ?, attempts = attempts + 1, error = ''", n.options.Now().UnixMilli())
		} else if deliver.AsFailure(err).Scope == deliver.All || failed == inVain && deliver.AsFailure(err).Scope == deliver.One {
			return n.failAll(ctx, messages[i:], err)
		} else {
			err = n.fail(m, deliver.AsFailure(err))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// withoutQuiet lets messages wait that the engineer's quiet hours hold back.
func (n *Notifier) withoutQuiet(g *Engineer, messages []message) ([]message, error) {
	var now []message
	for _, m := range messages {
		at := n.options.Now()
		if opens := g.opens(at, m.urgent); m.way != MQTT && opens.After(at) {
			if err := n.box.set(context.Background(), m.id, "next_ms = ?", opens.UnixMilli()); err != nil {
				return nil, err
			}
			continue
		}
		now = append(now, m)
	}
	return now, nil
}

func (n *Notifier) send(ctx context.Context, line line, g *Engineer, m message) error {
	events, err := n.box.events(ctx, m.id)
	if err != nil {
		return err
	}
	return line.tell(ctx, telling{engineer: g, message: m, events: events, pagesURL: n.options.PagesURL, now: n.options.Now()})
}

// failAll counts an attempt at the first message, and lets the others wait with
// it.
func (n *Notifier) failAll(ctx context.Context, messages []message, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	failure := deliver.AsFailure(err)
	failure = &deliver.Failure{Scope: deliver.All, Pause: max(failure.Pause, pause(messages[0].attempts)), Err: failure.Err}
	if err := n.fail(messages[0], failure); err != nil {
		return err
	}
	for _, m := range messages[1:] {
		if n.expired(m) {
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

// fail notes a failure and when to try again, if at all.
func (n *Notifier) fail(m message, f *deliver.Failure) error {
	if f.Scope == deliver.Never || n.expired(m) {
		return n.giveUp(m, f)
	}
	wait := max(f.Pause, pause(m.attempts))
	n.log.Warn("not told yet", "engineer", m.engineer, "way", m.way, "message", m.token, "attempts", m.attempts+1, "again_in", wait, "error", f.Err)
	return n.box.set(context.Background(), m.id, "attempts = attempts + 1, next_ms = ?, scope = ?, error = ?",
		n.options.Now().Add(wait).UnixMilli(), f.Scope, f.Err.Error())
}

func (n *Notifier) expired(m message) bool { return n.options.Now().Sub(m.created) >= giveUpAfter }

func (n *Notifier) giveUp(m message, why error) error {
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

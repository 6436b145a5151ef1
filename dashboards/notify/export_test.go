package notify

import (
	"context"
	"time"
)

// Step does what Run does when something may be due, waits for what it began,
// and returns when the next thing is due, zero when nothing waits.
func (n *Notifier) Step(ctx context.Context) (time.Time, error) {
	if _, err := n.step(ctx); err != nil {
		return time.Time{}, err
	}
	n.rests.Wait()
	at, some, err := n.box.next(ctx, n.options.Now())
	if !some {
		return time.Time{}, err
	}
	return at, err
}

// Ask runs a query that returns one number on the outbox.
func (n *Notifier) Ask(query string) int64 {
	var v int64
	if err := n.box.db.QueryRow(query).Scan(&v); err != nil {
		panic(err)
	}
	return v
}

// NextDigest is an engineer's hour.
func (g *Engineer) NextDigest(t time.Time) time.Time { return g.nextDigest(t) }

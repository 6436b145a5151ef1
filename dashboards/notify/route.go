package notify

import (
	"context"
	"database/sql"
	"time"
)

const (
	// flapWithin after a finding has ended, the same opening again is no news.
	flapWithin = 6 * time.Hour
	// flapCall is how often one that comes and goes is called out all the same,
	// when urgent.
	flapCall = time.Hour
	// pastAfter is when an ended finding is history, as files of readings bring
	// with them, and nobody is told.
	pastAfter = 7 * 24 * time.Hour
)

// route decides which engineers are told of a new event, and when.
func (n *Notifier) route(ctx context.Context, tx *sql.Tx, id int64, e *Event, now time.Time) error {
	for i := range n.options.Engineers {
		g := &n.options.Engineers[i]
		for _, way := range g.ways() {
			to := notice{event: id, engineer: g.Name, way: way, Event: *e}
			tell, err := to.route(ctx, tx, g, now)
			if err == nil && tell {
				err = to.add(ctx, tx)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// add keeps the notice if it is news. It takes the place of those that wait still,
// but on a topic, where each state is shown in its turn.
func (n *notice) add(ctx context.Context, tx *sql.Tx) error {
	if n.way != MQTT && n.Event.What != Ended {
		if err := n.overtake(ctx, tx); err != nil {
			return err
		}
		if news, err := n.news(ctx, tx); !news || err != nil {
			return err
		}
	}
	return addNotice(ctx, tx, *n)
}

// route says whether an engineer is told by a way, and sets when.
func (n *notice) route(ctx context.Context, tx *sql.Tx, g *Engineer, now time.Time) (tell bool, err error) {
	e := &n.Event
	n.due = now
	switch {
	case n.way == MQTT && e.What == Ended:
		return g.LooksAfter(e.Site), nil // even if not told of: it may be on the topic from before
	case e.over() && now.Sub(e.Until) > pastAfter:
		return false, nil
	case e.What == Ended:
		if tell, n.digest, err = n.told(ctx, tx); err != nil || !tell {
			return false, err
		}
	case !g.hears(e.Site, e.Severity):
		return false, nil
	case n.way == MQTT:
		return true, nil
	case !e.urgent():
		n.digest = true
	default:
		if n.digest, err = n.flaps(ctx, tx, now); err != nil {
			return false, err
		}
		if n.due, err = n.calmAt(ctx, tx, now); err != nil {
			return false, err
		}
	}
	n.due = g.Opens(n.due, e.urgent())
	if n.digest {
		n.due = g.nextDigest(now)
	}
	return true, nil
}

// flaps says whether an urgent finding has come back so soon after it ended, and
// after the last call about it, that the digest will do.
func (n *notice) flaps(ctx context.Context, tx *sql.Tx, now time.Time) (bool, error) {
	e := &n.Event
	if e.What != Opened {
		return false, nil
	}
	ended, err := number(ctx, tx, "SELECT max(until_ms) FROM event WHERE site = ? AND kind = ? AND since_ms < ?", e.Site, e.Kind, e.Since.UnixMilli())
	if err != nil || !ended.Valid || e.Since.Sub(time.UnixMilli(ended.Int64)) > flapWithin {
		return false, err
	}
	called, err := n.called(ctx, tx)
	return now.Sub(called) < flapCall, err
}

// calmAt is from when on an urgent finding may be called out. One that was told as
// over and is not is called out at once, from the second time on an hour after the
// last call.
func (n *notice) calmAt(ctx context.Context, tx *sql.Tx, now time.Time) (time.Time, error) {
	if n.Event.What != Reopened || n.Event.Round <= 2 {
		return now, nil
	}
	called, err := n.called(ctx, tx)
	if again := called.Add(flapCall); again.After(now) {
		return again, err
	}
	return now, err
}

// called is when the engineer was last called out about the kind at the site, zero
// for never.
func (n *notice) called(ctx context.Context, tx *sql.Tx) (time.Time, error) {
	ms, err := number(ctx, tx, `SELECT max(max(put_ms, due_ms)) FROM notice JOIN event ON event.id = notice.event
		WHERE site = ? AND kind = ? AND until_ms IS NULL AND NOT digest AND dropped IS NULL AND engineer = ? AND way = ?`,
		n.Event.Site, n.Event.Kind, n.engineer, n.way)
	if err != nil || !ms.Valid {
		return time.Time{}, err
	}
	return time.UnixMilli(ms.Int64), nil
}

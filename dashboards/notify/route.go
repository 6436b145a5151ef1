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
				err = addNotice(ctx, tx, to)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
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
	}
	n.due = g.Opens(now, e.urgent())
	if n.digest {
		n.due = g.nextDigest(now)
	}
	return true, nil
}

// told says whether the engineer was or will be told that the finding is there,
// and whether only in the digest.
func (n *notice) told(ctx context.Context, tx *sql.Tx) (told, inDigest bool, err error) {
	digest, err := number(ctx, tx, `SELECT min(digest) FROM notice JOIN event ON event.id = notice.event
		WHERE site = ? AND kind = ? AND since_ms = ? AND step <> 'ended' AND engineer = ? AND way = ? AND dropped IS NULL`,
		n.Event.Site, n.Event.Kind, n.Event.Since.UnixMilli(), n.engineer, n.way)
	return digest.Valid, digest.Int64 != 0, err
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
	called, err := number(ctx, tx, `SELECT max(put_ms) FROM notice JOIN event ON event.id = notice.event
		WHERE site = ? AND kind = ? AND until_ms IS NULL AND NOT digest AND dropped IS NULL AND engineer = ? AND way = ?`,
		e.Site, e.Kind, n.engineer, n.way)
	return called.Valid && now.Sub(time.UnixMilli(called.Int64)) < flapCall, err
}

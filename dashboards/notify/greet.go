package notify

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"
)

// greet sees to it that whoever is to hear of an open finding and by some way
// never was to be told of it, such as an engineer who has just been added, gets
// to know it now: by e-mail and webhook in one digest, whatever the hour of
// theirs, on a topic as always.
func (n *Notifier) greet(ctx context.Context, now time.Time) error {
	err := n.box.write(ctx, func(tx *sql.Tx) error {
		for i := range n.options.Engineers {
			g := &n.options.Engineers[i]
			for _, way := range g.ways() {
				if err := greetBy(ctx, tx, g, way, now); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("see who was not told of what is open: %w", err)
	}
	return nil
}

func greetBy(ctx context.Context, tx *sql.Tx, g *Engineer, way Way, now time.Time) error {
	untold, err := untold(ctx, tx, g, way)
	for i := 0; i < len(untold) && err == nil; i++ {
		to := untold[i]
		if !g.hears(to.Event.Site, to.Event.Severity) {
			continue
		}
		to.digest, to.due = way != MQTT, now
		if to.digest {
			to.due = g.Opens(now, false)
		}
		err = addNotice(ctx, tx, to)
	}
	return err
}

// untold returns the last event of each open finding of which an engineer has no
// notice by a way.
func untold(ctx context.Context, tx *sql.Tx, g *Engineer, way Way) ([]notice, error) {
	return collect(ctx, tx, func(scan func(...any) error) (notice, error) {
		n := notice{engineer: g.Name, way: way}
		var body []byte
		if err := scan(&n.event, &body); err != nil {
			return n, err
		}
		return n, json.Unmarshal(body, &n.Event)
	}, `SELECT last.id, last.body FROM event last
		WHERE last.id = (SELECT max(id) FROM event WHERE site = last.site AND kind = last.kind AND since_ms = last.since_ms)
		AND last.step NOT GLOB 'ended*'
		AND NOT EXISTS (SELECT 1 FROM notice JOIN event ON event.id = notice.event
			WHERE site = last.site AND kind = last.kind AND since_ms = last.since_ms AND engineer = ? AND way = ?)
		ORDER BY last.id`, g.Name, string(way))
}

package notify

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"time"

	"coldweek/ingest/store"
)

const (
	// burst is how many urgent messages an engineer gets by one way in an hour,
	// each by itself; then what comes within gather is one.
	burst  = 6
	gather = 10 * time.Minute
)

// compose makes messages of the notices that are due.
func (n *Notifier) compose(ctx context.Context, now time.Time) error {
	waiting, err := n.box.waiting(ctx, now)
	if err != nil || len(waiting) == 0 {
		return err
	}
	actions := n.actionsOn(ctx, waiting)
	return n.box.write(ctx, func(tx *sql.Tx) error {
		c := composition{n: n, ctx: ctx, tx: tx, now: now, actions: actions}
		for i := range waiting {
			if err := c.sort(&waiting[i]); err != nil {
				return err
			}
		}
		return c.bindAll()
	})
}

// actionsOn returns what engineers did, by site. What cannot be read keeps
// nothing back: rather told again than not at all.
func (n *Notifier) actionsOn(ctx context.Context, waiting []notice) map[string][]store.Action {
	actions := map[string][]store.Action{}
	for i := range waiting {
		site := waiting[i].Event.Site
		if _, read := actions[site]; read || n.options.Actions == nil {
			continue
		}
		list, err := n.options.Actions(ctx, site)
		if err != nil {
			n.log.Warn("what was acknowledged and muted is not known; findings are told all the same", "site", site, "error", err)
		}
		actions[site] = list
	}
	return actions
}

// composition is one making of messages.
type composition struct {
	n       *Notifier
	ctx     context.Context
	tx      *sql.Tx
	now     time.Time
	actions map[string][]store.Action
	bundles []*bundle
}

// bundle is what becomes one message.
type bundle struct {
	engineer *Engineer
	way      Way
	digest   bool
	notices  []notice
}

// sort drops a notice, lets it wait, or puts it into a bundle.
func (c *composition) sort(n *notice) error {
	if waits, err := n.waits(c.ctx, c.tx); !waits || err != nil {
		return err
	}
	g := c.n.engineer(n.engineer, n.way)
	if g == nil {
		return n.drop(c.ctx, c.tx, fmt.Sprintf("coldweek.yaml has no %s of %s", n.way, n.engineer))
	}
	if n.way == MQTT && n.Event.What == Ended {
		c.add(g, n)
		return nil
	}
	if opens := g.Opens(c.now, n.Event.urgent()); n.way != MQTT && opens.After(c.now) {
		return n.postpone(c.ctx, c.tx, n.digest, opens)
	}
	if why, err := c.quieted(&n.Event); err != nil || why != "" {
		return n.drop(c.ctx, c.tx, why)
	}
	if n.way != MQTT {
		if settled, err := c.followUp(g, n); settled || err != nil {
			return err
		}
	}
	c.add(g, n)
	return nil
}

func (c *composition) add(g *Engineer, n *notice) {
	for _, b := range c.bundles {
		if b.engineer == g && b.way == n.way && b.digest == n.digest && (b.digest || b.notices[0].Event.finding() == n.Event.finding()) {
			b.notices = append(b.notices, *n)
			return
		}
	}
	c.bundles = append(c.bundles, &bundle{g, n.way, n.digest, []notice{*n}})
}

// followUp settles what depends on the finding's other events. Something urgent
// that is over before anyone was called goes into the digest, beginning and end;
// so does the end of what was told there. What was withdrawn before it was told is
// not told, nor is the end of what was not.
func (c *composition) followUp(g *Engineer, n *notice) (settled bool, err error) {
	why, inDigest, err := c.fate(n)
	switch {
	case err != nil:
		return false, err
	case why != "":
		return true, n.drop(c.ctx, c.tx, why)
	case n.digest || !inDigest:
		return false, nil
	}
	return true, n.postpone(c.ctx, c.tx, true, g.nextDigest(c.now))
}

// fate says why a notice is not told, or nothing, and whether the digest will do.
func (c *composition) fate(n *notice) (why string, inDigest bool, err error) {
	if n.Event.What == Ended {
		told, inDigest, err := n.told(c.ctx, c.tx)
		if !told {
			why = "its beginning was not told"
		}
		return why, inDigest, err
	}
	ended, err := number(c.ctx, c.tx, "SELECT until_ms FROM event WHERE site = ? AND kind = ? AND since_ms = ? AND id > ? AND step GLOB 'ended*' ORDER BY id LIMIT 1",
		n.Event.Site, n.Event.Kind, n.Event.Since.UnixMilli(), n.event)
	if err == nil && ended.Valid && ended.Int64 <= n.Event.Since.UnixMilli() {
		return "later readings show that there was nothing", false, nil
	}
	return "", ended.Valid, err
}

// bindAll makes messages of the bundles. After a burst, what is told at once is
// gathered into one bundle for each engineer and way.
func (c *composition) bindAll() error {
	var late []*bundle
	for _, b := range c.bundles {
		calm, err := c.calm(b)
		switch {
		case err != nil:
			return err
		case calm:
			err = c.bind(b)
		default:
			late = joined(late, b)
		}
		if err != nil {
			return err
		}
	}
	for _, b := range late {
		if err := c.bindLate(b); err != nil {
			return err
		}
	}
	return nil
}

// calm says whether a bundle may be a message by itself.
func (c *composition) calm(b *bundle) (bool, error) {
	if b.digest || b.way == MQTT {
		return true, nil
	}
	_, recent, err := c.lastHour(b)
	return recent < burst, err
}

// joined adds a bundle to the one of its engineer and way.
func joined(late []*bundle, b *bundle) []*bundle {
	for _, l := range late {
		if l.engineer == b.engineer && l.way == b.way {
			l.notices = append(l.notices, b.notices...)
			return late
		}
	}
	return append(late, b)
}

// bindLate makes a message of what came after a burst, or lets it wait for more.
func (c *composition) bindLate(b *bundle) error {
	last, _, err := c.lastHour(b)
	if err != nil {
		return err
	}
	again := last.Add(gather)
	if !again.After(c.now) {
		return c.bind(b)
	}
	for i := range b.notices {
		if err := b.notices[i].postpone(c.ctx, c.tx, false, again); err != nil {
			return err
		}
	}
	return nil
}

func (c *composition) bind(b *bundle) error {
	m := message{token: b.token(), engineer: b.engineer.Name, way: b.way, digest: b.digest, created: c.now}
	for i := range b.notices {
		m.urgent = m.urgent || !b.digest && b.notices[i].Event.urgent()
	}
	return addMessage(c.ctx, c.tx, m, b.notices)
}

// lastHour returns how many messages the engineer got at once, and the last.
func (c *composition) lastHour(b *bundle) (last time.Time, count int64, err error) {
	where := "FROM message WHERE engineer = ? AND way = ? AND NOT digest AND created_ms > ?"
	hour := c.now.Add(-time.Hour).UnixMilli()
	n, err := number(c.ctx, c.tx, "SELECT count(*) "+where, b.engineer.Name, b.way, hour)
	if err != nil || n.Int64 == 0 {
		return last, 0, err
	}
	newest, err := number(c.ctx, c.tx, "SELECT max(created_ms) "+where, b.engineer.Name, b.way, hour)
	return time.UnixMilli(newest.Int64), n.Int64, err
}

// token is the message's name: of who is told, by which way, and what.
func (b *bundle) token() string {
	hash := sha256.New()
	fmt.Fprintf(hash, "%s\n%s\n", b.engineer.Name, b.way)
	for i := range b.notices {
		fmt.Fprintf(hash, "\n%s\n", b.notices[i].Event.key())
	}
	return hex.EncodeToString(hash.Sum(nil)[:16])
}

// quieted says why an event is not told, or nothing: someone has muted its kind
// at the site, or acknowledged the finding since it began or became urgent.
func (c *composition) quieted(e *Event) (why string, err error) {
	actions := c.actions[e.Site]
	if attitude := store.AttitudeTo(e.Kind, e.Since, actions, c.now); attitude.Muted {
		if attitude.MutedUntil.IsZero() {
			return "muted", nil
		}
		return "muted until " + attitude.MutedUntil.UTC().Format(time.RFC3339), nil
	}
	raised, err := number(c.ctx, c.tx, "SELECT max(at_ms) FROM event WHERE site = ? AND kind = ? AND since_ms = ? AND step = ?",
		e.Site, e.Kind, e.Since.UnixMilli(), string(Raised)+" "+string(store.Urgent))
	known := e.Since
	if raised.Valid {
		known = time.UnixMilli(raised.Int64)
	}
	if attitude := store.AttitudeTo(e.Kind, known, actions, c.now); attitude.Acknowledged {
		return "acknowledged by " + attitude.AcknowledgedBy, err
	}
	return "", err
}

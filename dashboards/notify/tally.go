package notify

import (
	"context"
	"slices"
	"time"
)

// Tally is how telling goes by one way.
type Tally struct {
	Way                   Way
	Sent, Failed, GivenUp int64     // messages told, attempts that failed and messages given up since Open
	Waiting               int64     // for its time: a digest, the end of quiet hours, calm after a burst
	Stuck                 int64     // messages that failed and are tried again
	OldestStuck           time.Time // when the oldest of them was made; zero without any
}

// Tallies returns one for each way by which any engineer is told, in alphabetical
// order.
func (n *Notifier) Tallies(ctx context.Context) ([]Tally, error) {
	waiting, err := n.box.waitingByWay(ctx)
	if err != nil {
		return nil, err
	}
	stuck, err := n.box.stuckByWay(ctx)
	if err != nil {
		return nil, err
	}
	var list []Tally
	for _, way := range n.allWays() {
		t := n.counted(way)
		t.Way, t.Waiting, t.Stuck, t.OldestStuck = way, waiting[way].count, stuck[way].count, stuck[way].oldest
		list = append(list, t)
	}
	return list, nil
}

func (n *Notifier) allWays() []Way {
	var all []Way
	for i := range n.options.Engineers {
		all = append(all, n.options.Engineers[i].ways()...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func (n *Notifier) counted(way Way) Tally {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.tally[way]
}

// count changes the tally of a way.
func (n *Notifier) count(way Way, change func(t *Tally)) {
	n.mu.Lock()
	defer n.mu.Unlock()
	t := n.tally[way]
	change(&t)
	n.tally[way] = t
}

// wayCount is how many rows of the outbox there are of a way.
type wayCount struct {
	way    Way
	count  int64
	oldest time.Time
}

func (o *outbox) waitingByWay(ctx context.Context) (map[Way]wayCount, error) {
	return o.byWay(ctx, "SELECT way, count(*), min(due_ms) FROM notice WHERE message IS NULL AND dropped IS NULL GROUP BY way")
}

func (o *outbox) stuckByWay(ctx context.Context) (map[Way]wayCount, error) {
	return o.byWay(ctx, "SELECT way, count(*), min(created_ms) FROM message WHERE "+unsent+" AND scope <> '' GROUP BY way")
}

func (o *outbox) byWay(ctx context.Context, query string) (map[Way]wayCount, error) {
	counts, err := collect(ctx, o.db, func(scan func(...any) error) (c wayCount, err error) {
		var oldest int64
		err = scan(&c.way, &c.count, &oldest)
		c.oldest = time.UnixMilli(oldest)
		return c, err
	}, query)
	byWay := map[Way]wayCount{}
	for _, c := range counts {
		byWay[c.way] = c
	}
	return byWay, err
}

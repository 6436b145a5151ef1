package influx

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// Sites returns the sites that have readings, in alphabetical order.
func (s *Store) Sites(ctx context.Context) ([]string, error) {
	waiting, err := s.options.Journal.Sites(ctx)
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	sites := waiting
	err = s.query(ctx, `SHOW TAG VALUES FROM "channel" WITH KEY = "site"`, func(_ *head, row []cell) error {
		sites = append(sites, unescapeName(row[len(row)-1].text))
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	slices.Sort(sites)
	return slices.Compact(sites), nil
}

// Extents returns the site's channels in alphabetical order.
func (s *Store) Extents(ctx context.Context, site string) ([]store.Extent, error) {
	extents, err := s.extents(ctx, site)
	if err != nil {
		return nil, fmt.Errorf("list channels of %q: %w", site, err)
	}
	return slices.SortedFunc(maps.Values(extents), func(a, b store.Extent) int { return cmp.Compare(a.Channel, b.Channel) }), nil
}

func (s *Store) extents(ctx context.Context, site string) (map[ingest.Channel]store.Extent, error) {
	extents := make(map[ingest.Channel]store.Extent)
	waiting, err := s.waiting(ctx, site, earliest.UnixMilli(), latest.UnixMilli())
	if err != nil {
		return nil, err
	}
	for channel, p := range waiting {
		widen(extents, channel, p.ms[0])
		widen(extents, channel, p.ms[p.len()-1])
	}
	ends, err := s.ends(ctx, site)
	if err != nil || len(ends) == 0 {
		return extents, err
	}
	found, err := s.seek(ctx, site, ends, extents)
	if err != nil {
		return nil, err
	}
	// What the retention policy has taken meanwhile is sought in all that is left.
	var left []end
	for i, e := range ends {
		if !found[i] {
			left = append(left, end{e.channel, e.order, window{earliest.UnixMilli(), latest.UnixMilli()}})
		}
	}
	if len(left) > 0 {
		_, err = s.seek(ctx, site, left, extents)
	}
	return extents, err
}

// end is where a channel's first (ASC) or last (DESC) reading is to be found.
type end struct {
	channel ingest.Channel
	order   string
	window
}

// ends returns the first and the last day of each channel. To seek without
// knowing it, InfluxDB would open every shard: 15 s for a year.
func (s *Store) ends(ctx context.Context, site string) ([]end, error) {
	orders := []string{"ASC", "DESC"}
	var ends []end
	err := s.queryAll(ctx, []string{
		fmt.Sprintf(`SELECT first("seen") FROM "channel" WHERE "site" = %s GROUP BY "channel"`, text(site)),
		fmt.Sprintf(`SELECT last("seen") FROM "channel" WHERE "site" = %s GROUP BY "channel"`, text(site)),
	}, func(h *head, row []cell) error {
		day := floorTo(row[0].whole, msPerDay)
		ends = append(ends, end{ingest.Channel(h.tag("channel")), orders[h.statement%len(orders)], window{day, day + msPerDay}})
		return nil
	})
	return ends, err
}

// seek widens the extents by the readings at the ends and says which were found.
func (s *Store) seek(ctx context.Context, site string, ends []end, extents map[ingest.Channel]store.Extent) (found []bool, err error) {
	statements := make([]string, len(ends))
	for i, e := range ends {
		statements[i] = fmt.Sprintf(`SELECT %s FROM "reading" WHERE "site" = %s AND %s ORDER BY time %s LIMIT 1`,
			ident(fieldOf(e.channel)), text(site), between(e.fromMS, e.toMS), e.order)
	}
	found = make([]bool, len(ends))
	err = s.queryAll(ctx, statements, func(h *head, row []cell) error {
		if h.statement >= len(ends) {
			return fmt.Errorf("InfluxDB answers statement %d of %d", h.statement, len(ends))
		}
		found[h.statement] = true
		widen(extents, ends[h.statement].channel, row[0].whole)
		return nil
	})
	return found, err
}

// widen makes a channel's extent hold a time.
func widen(extents map[ingest.Channel]store.Extent, channel ingest.Channel, ms int64) {
	at := time.UnixMilli(ms).UTC()
	e, known := extents[channel]
	if !known {
		e = store.Extent{Channel: channel, First: at, Last: at}
	}
	if at.Before(e.First) {
		e.First = at
	}
	if at.After(e.Last) {
		e.Last = at
	}
	extents[channel] = e
}

// Revision returns the sum over the journals that have written readings of the
// time, each with the last batch that touched an hour of it. What waits in this
// machine's journal counts as it will when it is forwarded.
func (s *Store) Revision(ctx context.Context, site string, from, to time.Time) (int64, error) {
	revision, err := s.revision(ctx, site, from, to)
	if err != nil {
		return 0, fmt.Errorf("read revision of %q: %w", site, err)
	}
	return revision, nil
}

func (s *Store) revision(ctx context.Context, site string, from, to time.Time) (sum int64, err error) {
	fromMS, toMS := span(from, to)
	if fromMS >= toMS {
		return 0, ctx.Err()
	}
	fromMS = floorTo(fromMS, msPerHour)
	own, err := s.waitingRevision(ctx, site, fromMS, floorTo(toMS-1, msPerHour)+msPerHour)
	if err != nil {
		return 0, err
	}
	err = s.query(ctx, fmt.Sprintf(`SELECT max("revision") FROM "revision" WHERE "site" = %s AND %s GROUP BY "writer"`,
		text(site), between(fromMS, toMS)), func(h *head, row []cell) error {
		if h.tag("writer") == s.options.Journal.Writer() {
			own = max(own, row[1].whole)
		} else {
			sum += row[1].whole
		}
		return nil
	})
	return sum + own, err
}

// waitingRevision returns the last batch in the journal with a reading of the
// site in that time, 0 when there is none.
func (s *Store) waitingRevision(ctx context.Context, site string, fromMS, toMS int64) (revision int64, err error) {
	batches, err := s.options.Journal.Pending(ctx, site)
	for _, batch := range batches {
		for _, r := range batch.Readings {
			if ms := r.Time.UnixMilli(); ms >= fromMS && ms < toMS {
				revision = batch.ID
				break
			}
		}
	}
	return revision, err
}

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
	stored, err := s.tagValues(ctx, `SHOW TAG VALUES FROM "channel" WITH KEY = "site"`)
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	sites := append(waiting, stored...)
	slices.Sort(sites)
	return slices.Compact(sites), nil
}

func (s *Store) tagValues(ctx context.Context, statement string) ([]string, error) {
	var values []string
	err := s.query(ctx, statement, func(_ *head, row []cell) error {
		values = append(values, unescapeName(row[len(row)-1].text))
		return nil
	})
	return values, err
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
	waiting, err := s.waiting(ctx, site, earliest.UnixMilli(), latest.UnixMilli())
	if err != nil {
		return nil, err
	}
	channels, err := s.tagValues(ctx, fmt.Sprintf(`SHOW TAG VALUES FROM "channel" WITH KEY = "channel" WHERE "site" = %s`, text(site)))
	if err != nil {
		return nil, err
	}
	extents := make(map[ingest.Channel]store.Extent)
	for channel, p := range waiting {
		widen(extents, channel, p.ms[0], p.ms[p.len()-1])
	}
	if len(channels) == 0 {
		return extents, nil
	}
	return extents, s.storedExtents(ctx, site, channels, extents)
}

// storedExtents reads the first and the last reading of each channel, which
// InfluxDB finds without going through those in between.
func (s *Store) storedExtents(ctx context.Context, site string, channels []string, extents map[ingest.Channel]store.Extent) error {
	var statements []string
	for _, channel := range channels {
		for _, order := range []string{"ASC", "DESC"} {
			statements = append(statements, fmt.Sprintf(`SELECT %s FROM "reading" WHERE "site" = %s ORDER BY time %s LIMIT 1`,
				ident(fieldOf(ingest.Channel(channel))), text(site), order))
		}
	}
	return s.queryAll(ctx, statements, func(h *head, row []cell) error {
		if h.statement >= len(statements) {
			return fmt.Errorf("InfluxDB answers statement %d of %d", h.statement, len(statements))
		}
		widen(extents, ingest.Channel(channels[h.statement/2]), row[0].whole, row[0].whole)
		return nil
	})
}

// widen makes a channel's extent hold two more times.
func widen(extents map[ingest.Channel]store.Extent, channel ingest.Channel, firstMS, lastMS int64) {
	first, last := time.UnixMilli(firstMS).UTC(), time.UnixMilli(lastMS).UTC()
	if e, ok := extents[channel]; ok {
		if e.First.Before(first) {
			first = e.First
		}
		if e.Last.After(last) {
			last = e.Last
		}
	}
	extents[channel] = store.Extent{Channel: channel, First: first, Last: last}
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

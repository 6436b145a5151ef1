package influx

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
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

// Revisions returns for each period the sum over the journals that have written
// readings of it, each with the last batch that touched an hour of it. What waits in
// this machine's journal counts as it will when it is forwarded.
func (s *Store) Revisions(ctx context.Context, site string, periods []store.Period) ([]int64, error) {
	revisions, err := s.revisions(ctx, site, periods)
	if err != nil {
		return nil, fmt.Errorf("read revision of %q: %w", site, err)
	}
	return revisions, nil
}

// revised is an hour with the last batch that touched it.
type revised struct{ hourMS, batch int64 }

func (s *Store) revisions(ctx context.Context, site string, periods []store.Period) ([]int64, error) {
	sums := make([]int64, len(periods))
	hours := make([]window, len(periods))
	all := window{math.MaxInt64, math.MinInt64}
	for i, p := range periods {
		fromMS, toMS := span(p.From, p.To)
		if fromMS >= toMS {
			continue
		}
		hours[i] = window{floorTo(fromMS, msPerHour), floorTo(toMS-1, msPerHour) + msPerHour}
		all = window{min(all.fromMS, hours[i].fromMS), max(all.toMS, hours[i].toMS)}
	}
	if all.fromMS >= all.toMS {
		return sums, ctx.Err()
	}
	figure := `"revision"`
	if len(periods) == 1 {
		figure = `max("revision")` // the time of a highest is its hour
	}
	writers, err := s.touched(ctx, site, all, figure)
	if err != nil {
		return nil, err
	}
	for i, p := range hours {
		for _, touched := range writers {
			first, _ := slices.BinarySearchFunc(touched, p.fromMS, func(r revised, ms int64) int { return cmp.Compare(r.hourMS, ms) })
			last := int64(0)
			for _, r := range touched[first:] {
				if r.hourMS >= p.toMS {
					break
				}
				last = max(last, r.batch)
			}
			sums[i] += last
		}
	}
	return sums, nil
}

// touched returns the hours of a time that each writer's batches touched, in order:
// all of them or, by the figure asked for, some.
func (s *Store) touched(ctx context.Context, site string, w window, figure string) (map[string][]revised, error) {
	writers := map[string][]revised{}
	waiting, err := s.options.Journal.Pending(ctx, site)
	if err != nil {
		return nil, err
	}
	own := s.options.Journal.Writer()
	for _, batch := range waiting {
		last := int64(math.MinInt64)
		for _, r := range batch.Readings {
			if hour := floorTo(r.Time.UnixMilli(), msPerHour); hour != last {
				writers[own] = append(writers[own], revised{hour, batch.ID})
				last = hour
			}
		}
	}
	err = s.query(ctx, fmt.Sprintf(`SELECT %s FROM "revision" WHERE "site" = %s AND %s GROUP BY "writer"`,
		figure, text(site), between(w.fromMS, w.toMS)), func(h *head, row []cell) error {
		writer := h.tag("writer")
		writers[writer] = append(writers[writer], revised{row[0].whole, row[1].whole})
		return nil
	})
	slices.SortFunc(writers[own], func(a, b revised) int { return cmp.Compare(a.hourMS, b.hourMS) })
	return writers, err
}

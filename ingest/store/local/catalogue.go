package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// series is a channel of a site as the tables know it.
type series struct {
	id, site int64
	// sealedTo is a time after which the series surely has nothing in a block,
	// unless another process put it there.
	sealedTo int64
}

const nothingSealed = math.MinInt64

type seriesName struct {
	site    string
	channel ingest.Channel
}

// catalogue remembers ids between transactions. Only the holder of the store's
// turn uses it.
type catalogue struct {
	version int64 // the file's data_version it holds for
	known   map[seriesName]*series
	ends    map[int64]int64 // by site, a time after which it surely has no rows
}

// at returns what is known, which is nothing when another process has written
// since.
func (c *catalogue) at(version int64) map[seriesName]*series {
	if c.known == nil || c.version != version {
		c.version, c.known, c.ends = version, make(map[seriesName]*series), make(map[int64]int64)
	}
	return c.known
}

func (c *catalogue) forget() { c.known = nil }

// transaction is a write transaction and what it learned of the catalogue.
type transaction struct {
	*sql.Tx
	store   *Store
	known   map[seriesName]*series
	learned map[seriesName]*series // kept when the commit went through
	sealed  bool                   // blocks were made that known does not know of
}

func (t *transaction) begin(ctx context.Context) error {
	var version int64
	if err := t.prepared(ctx, dataVersion).QueryRowContext(ctx).Scan(&version); err != nil {
		return err
	}
	t.known = t.store.catalogue.at(version)
	t.learned = make(map[seriesName]*series)
	return nil
}

// site returns the id of a site, made when there is none.
func (t *transaction) site(ctx context.Context, name string) (id int64, err error) {
	err = t.QueryRowContext(ctx, "SELECT id FROM site WHERE name = ?", name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		err = t.QueryRowContext(ctx, "INSERT INTO site (name) VALUES (?) RETURNING id", name).Scan(&id)
	}
	return id, err
}

// series returns a channel of a site, made when there is none.
func (t *transaction) series(ctx context.Context, name seriesName) (*series, error) {
	if s, ok := t.known[name]; ok {
		return s, nil
	}
	if s, ok := t.learned[name]; ok {
		return s, nil
	}
	site, err := t.site(ctx, name.site)
	if err != nil {
		return nil, err
	}
	s := &series{site: site, sealedTo: nothingSealed}
	var last sql.NullInt64
	err = t.QueryRowContext(ctx, `SELECT id, (SELECT last_ms FROM block WHERE series = id ORDER BY day DESC LIMIT 1)
		FROM series WHERE site = ? AND channel = ?`, site, name.channel).Scan(&s.id, &last)
	if errors.Is(err, sql.ErrNoRows) {
		err = t.QueryRowContext(ctx, "INSERT INTO series (site, channel) VALUES (?, ?) RETURNING id",
			site, name.channel).Scan(&s.id)
	}
	if err != nil {
		return nil, err
	}
	if last.Valid {
		s.sealedTo = last.Int64
	}
	t.learned[name] = s
	return s, nil
}

// Sites returns the sites that have readings, in alphabetical order.
func (s *Store) Sites(ctx context.Context) ([]string, error) {
	var names []string
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, "SELECT name FROM site WHERE revision > 0 ORDER BY name")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var name string
			if err := rows.Scan(&name); err != nil {
				return err
			}
			names = append(names, name)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	return names, nil
}

// Extents returns the site's channels in alphabetical order.
func (s *Store) Extents(ctx context.Context, site string) ([]store.Extent, error) {
	var extents []store.Extent
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		series, err := readEnds(ctx, tx, site)
		if err != nil {
			return err
		}
		for _, e := range series {
			extents = append(extents, extentOf(e))
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list channels of %q: %w", site, err)
	}
	return extents, nil
}

// ends are the first and last times of a series, in blocks and in rows.
type ends struct {
	channel string
	series  int64
	sealed  [2]sql.NullInt64
	fresh   [2]sql.NullInt64
}

// readEnds seeks the ends of a site's series; it reads no blocks, and rows only
// until each series was met.
func readEnds(ctx context.Context, tx *sql.Tx, site string) (list []ends, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT series.site, series.id, channel,
			(SELECT first_ms FROM block WHERE series = series.id ORDER BY day LIMIT 1),
			(SELECT last_ms FROM block WHERE series = series.id ORDER BY day DESC LIMIT 1)
		FROM series JOIN site ON site.id = series.site WHERE site.name = ? ORDER BY channel`, site)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var id int64
	for rows.Next() {
		var e ends
		if err := rows.Scan(&id, &e.series, &e.channel, &e.sealed[0], &e.sealed[1]); err != nil {
			return nil, err
		}
		list = append(list, e)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	first, err := meetSeries(ctx, tx, id, len(list), "ASC")
	if err != nil {
		return nil, err
	}
	last, err := meetSeries(ctx, tx, id, len(first), "DESC")
	for i, e := range list {
		if ms, ok := first[e.series]; ok {
			list[i].fresh = [2]sql.NullInt64{{Int64: ms, Valid: true}, {Int64: last[e.series], Valid: true}}
		}
	}
	return list, err
}

// meetSeries goes through a site's rows, in ascending (ASC) or descending (DESC)
// time, until it has met so many series, and says when it met each.
func meetSeries(ctx context.Context, tx *sql.Tx, site int64, count int, order string) (map[int64]int64, error) {
	met := make(map[int64]int64, count)
	if count == 0 {
		return met, nil
	}
	rows, err := tx.QueryContext(ctx, "SELECT unix_ms, readings FROM fresh WHERE site = ? ORDER BY unix_ms "+order, site)
	if err != nil {
		return nil, err
	}
	err = eachOf(rows, site, func(ms int64, e entry) bool {
		if _, ok := met[e.series]; !ok {
			met[e.series] = ms
		}
		return len(met) < count
	})
	return met, err
}

func extentOf(e ends) store.Extent {
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, end := range [][2]sql.NullInt64{e.sealed, e.fresh} {
		if end[0].Valid {
			first, last = min(first, end[0].Int64), max(last, end[1].Int64)
		}
	}
	return store.Extent{
		Channel: ingest.Channel(e.channel),
		First:   time.UnixMilli(first).UTC(),
		Last:    time.UnixMilli(last).UTC(),
	}
}

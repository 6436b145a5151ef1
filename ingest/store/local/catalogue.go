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
}

// at returns what is known, which is nothing when another process has written
// since.
func (c *catalogue) at(version int64) map[seriesName]*series {
	if c.known == nil || c.version != version {
		c.version, c.known = version, make(map[seriesName]*series)
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

// extentsQuery seeks the ends of each series; it reads no readings in between.
const extentsQuery = `
SELECT channel,
  (SELECT min(unix_ms) FROM fresh WHERE series = series.id),
  (SELECT first_ms FROM block WHERE series = series.id ORDER BY day LIMIT 1),
  (SELECT max(unix_ms) FROM fresh WHERE series = series.id),
  (SELECT last_ms FROM block WHERE series = series.id ORDER BY day DESC LIMIT 1)
FROM series JOIN site ON site.id = series.site WHERE site.name = ? ORDER BY channel`

// Extents returns the site's channels in alphabetical order.
func (s *Store) Extents(ctx context.Context, site string) ([]store.Extent, error) {
	var extents []store.Extent
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, extentsQuery, site)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var channel string
			var ends [4]sql.NullInt64
			if err := rows.Scan(&channel, &ends[0], &ends[1], &ends[2], &ends[3]); err != nil {
				return err
			}
			extents = append(extents, extentOf(channel, ends))
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("list channels of %q: %w", site, err)
	}
	return extents, nil
}

// extentOf joins first of rows, first of blocks, last of rows, last of blocks.
func extentOf(channel string, ends [4]sql.NullInt64) store.Extent {
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, end := range ends {
		if end.Valid {
			first, last = min(first, end.Int64), max(last, end.Int64)
		}
	}
	return store.Extent{
		Channel: ingest.Channel(channel),
		First:   time.UnixMilli(first).UTC(),
		Last:    time.UnixMilli(last).UTC(),
	}
}

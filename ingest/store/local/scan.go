package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/ingest"
	"coldweek/ingest/store/block"
)

// stored returns a value as its row keeps it: whole numbers as such, in fewer
// bytes.
func stored(value float64) any {
	const exact = 1 << 53
	whole := int64(max(-exact, min(exact, value)))
	if float64(whole) == value && (whole != 0 || !math.Signbit(value)) {
		return whole
	}
	return value
}

// readRows returns the rows of a series with from <= time < to.
func readRows(ctx context.Context, tx *sql.Tx, series, fromMS, toMS int64) (points, error) {
	rows, err := tx.QueryContext(ctx, "SELECT unix_ms, value FROM fresh WHERE series = ? AND unix_ms >= ? AND unix_ms < ? ORDER BY unix_ms",
		series, fromMS, toMS)
	if err != nil {
		return points{}, err
	}
	defer rows.Close()
	var p points
	var ms, value any // the only types database/sql does not take through text
	for rows.Next() {
		if err := rows.Scan(&ms, &value); err != nil {
			return points{}, err
		}
		switch v := value.(type) {
		case float64:
			p.add(ms.(int64), v)
		case int64:
			p.add(ms.(int64), float64(v))
		}
	}
	return p, rows.Err()
}

// readBlock returns what is sealed of a series and day, nothing when there is
// no block.
func readBlock(ctx context.Context, tx *sql.Tx, series, day int64) (points, error) {
	var data []byte
	err := tx.QueryRowContext(ctx, "SELECT data FROM block WHERE series = ? AND day = ?", series, day).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return points{}, nil
	}
	if err != nil {
		return points{}, err
	}
	ms, values, err := block.Decode(data, nil, nil)
	if err != nil {
		return points{}, fmt.Errorf("series %d, day %d: %w: %w", series, day, ErrDamaged, err)
	}
	return points{ms, values}, nil
}

// Scan returns one column for each channel asked for, in that order, with
// from <= time < to. A channel without readings gives an empty column.
func (s *Store) Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	scans := make([]*scan, len(channels))
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		decoding := new(errgroup.Group)
		decoding.SetLimit(runtime.GOMAXPROCS(0))
		var err error
		for i, channel := range channels {
			scans[i] = &scan{fromMS: ceilMS(from), toMS: ceilMS(to)}
			if err = scans[i].read(ctx, tx, site, channel, decoding); err != nil {
				break
			}
		}
		return errors.Join(err, decoding.Wait())
	})
	if err != nil {
		return nil, fmt.Errorf("scan %q: %w", site, err)
	}
	columns := make([]ingest.Column, len(channels))
	for i, channel := range channels {
		p := scans[i].points()
		columns[i] = ingest.Column{Channel: channel, UnixMS: p.ms, Value: p.values}
	}
	return columns, nil
}

// scan is one channel's way from tables to a column.
type scan struct {
	fromMS, toMS int64
	sealed       points // whole days; filled in by other goroutines
	fresh        points
}

// read reads the channel's blocks and rows and leaves the decoding, into
// memory set aside here, to the group.
func (s *scan) read(ctx context.Context, tx *sql.Tx, site string, channel ingest.Channel, decoding *errgroup.Group) error {
	if s.fromMS >= s.toMS {
		return nil
	}
	var series int64
	err := tx.QueryRowContext(ctx, `SELECT series.id FROM series JOIN site ON site.id = series.site
		WHERE site.name = ? AND channel = ?`, site, channel).Scan(&series)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	if s.fresh, err = readRows(ctx, tx, series, s.fromMS, s.toMS); err != nil {
		return err
	}
	blocks, total, err := readBlocks(ctx, tx, series, dayOf(s.fromMS), dayOf(s.toMS-1))
	if err != nil {
		return err
	}
	room := total + s.fresh.len()
	s.sealed = points{make([]int64, total, room), make([]float64, total, room)}
	at := 0
	for _, b := range blocks {
		into := points{s.sealed.ms[at : at+b.count : at+b.count], s.sealed.values[at : at+b.count : at+b.count]}
		decoding.Go(func() error { return b.decode(into) })
		at += b.count
	}
	return ctx.Err()
}

// points returns the column's readings once all is decoded.
func (s *scan) points() points {
	return s.fresh.over(s.sealed.between(s.fromMS, s.toMS))
}

// sealedDay is a row of the block table.
type sealedDay struct {
	series, day int64
	count       int
	data        []byte
}

func readBlocks(ctx context.Context, tx *sql.Tx, series, fromDay, toDay int64) (blocks []sealedDay, total int, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT day, count, data FROM block WHERE series = ? AND day BETWEEN ? AND ? ORDER BY day",
		series, fromDay, toDay)
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	for rows.Next() {
		b := sealedDay{series: series}
		if err := rows.Scan(&b.day, &b.count, &b.data); err != nil {
			return nil, 0, err
		}
		if b.count < 0 || b.count > block.MaxReadings {
			return nil, 0, fmt.Errorf("series %d, day %d: %d readings: %w", series, b.day, b.count, ErrDamaged)
		}
		blocks = append(blocks, b)
		total += b.count
	}
	return blocks, total, rows.Err()
}

// decode fills into, which has room for the count of the row.
func (b sealedDay) decode(into points) error {
	ms, _, err := block.Decode(b.data, into.ms, into.values)
	if err == nil && len(ms) != b.count {
		err = fmt.Errorf("block of %d readings, its row says %d", len(ms), b.count)
	}
	if err != nil {
		return fmt.Errorf("series %d, day %d: %w: %w", b.series, b.day, ErrDamaged, err)
	}
	return nil
}

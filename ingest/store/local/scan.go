package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
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
	blocks, count, err := readBlocks(ctx, tx, series, day, day)
	if err != nil || len(blocks) == 0 {
		return points{}, err
	}
	p := points{make([]int64, count), make([]float64, count)}
	return p, blocks[0].decode(p.ms, p.values)
}

// Scan returns one column for each channel asked for, in that order, with
// from <= time < to. A channel without readings gives an empty column. Columns
// may share their times: do not write to them.
func (s *Store) Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	scans := make([]*scan, len(channels))
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		decoding := new(errgroup.Group)
		decoding.SetLimit(runtime.GOMAXPROCS(0))
		var err error
		for i, channel := range channels {
			scans[i] = &scan{fromMS: ceilMS(from), toMS: ceilMS(to)}
			if err = scans[i].read(ctx, tx, site, channel); err != nil {
				break
			}
			scans[i].decode(decoding, scans[:i])
		}
		return errors.Join(err, decoding.Wait())
	})
	if err != nil {
		return nil, fmt.Errorf("scan %q: %w", site, err)
	}
	columns := make([]ingest.Column, len(channels))
	for i, channel := range channels {
		p := scans[i].join()
		columns[i] = ingest.Column{Channel: channel, UnixMS: slices.Clip(p.ms), Value: slices.Clip(p.values)}
	}
	return columns, nil
}

// scan is one channel's way from tables to a column.
type scan struct {
	fromMS, toMS int64
	blocks       []sealedDay
	count        int     // readings in blocks
	fresh        points  // rows
	like         *scan   // an earlier channel with the same times, or nil
	sealed       points  // blocks unpacked, by other goroutines
	begin, end   int     // what of sealed lies between fromMS and toMS
	joined       []int64 // the column's times
}

// read reads the channel's rows and blocks.
func (s *scan) read(ctx context.Context, tx *sql.Tx, site string, channel ingest.Channel) error {
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
	s.blocks, s.count, err = readBlocks(ctx, tx, series, dayOf(s.fromMS), dayOf(s.toMS-1))
	return err
}

// decode sets memory aside and leaves the decoding into it to the group. When
// an earlier channel has the same times, as those of one message do, they are
// taken from there.
func (s *scan) decode(group *errgroup.Group, earlier []*scan) {
	if i := slices.IndexFunc(earlier, s.sameTimes); i >= 0 {
		s.like = earlier[i]
	}
	room := s.count + s.fresh.len()
	s.sealed.values = make([]float64, s.count, room)
	if s.like == nil {
		s.sealed.ms = make([]int64, s.count, room)
	}
	at := 0
	for _, b := range s.blocks {
		end := at + b.count
		values := s.sealed.values[at:end:end]
		if s.like != nil {
			group.Go(func() error { return b.decodeValues(values) })
		} else {
			ms := s.sealed.ms[at:end:end]
			group.Go(func() error { return b.decode(ms, values) })
		}
		at = end
	}
}

func (s *scan) sameTimes(other *scan) bool {
	return s.count == other.count && slices.Equal(s.fresh.ms, other.fresh.ms) &&
		slices.EqualFunc(s.blocks, other.blocks, func(a, b sealedDay) bool { return block.SameTimes(a.data, b.data) })
}

// join returns the column's readings once all is decoded, in the order of the
// channels.
func (s *scan) join() points {
	first := s
	if s.like != nil {
		first = s.like
	} else {
		s.begin, _ = slices.BinarySearch(s.sealed.ms, s.fromMS)
		s.end, _ = slices.BinarySearch(s.sealed.ms, s.toMS)
	}
	p := s.fresh.over(points{first.sealed.ms[first.begin:first.end], s.sealed.values[first.begin:first.end]})
	if s.like == nil {
		s.joined = p.ms
	}
	return points{first.joined, p.values}
}

// sealedDay is a row of the block table.
type sealedDay struct {
	series, day int64
	count       int
	data        []byte
}

func readBlocks(ctx context.Context, tx *sql.Tx, series, fromDay, toDay int64) (blocks []sealedDay, count int, err error) {
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
			return nil, 0, b.damaged(fmt.Errorf("%d readings", b.count))
		}
		blocks = append(blocks, b)
		count += b.count
	}
	return blocks, count, rows.Err()
}

func (b sealedDay) damaged(err error) error {
	return fmt.Errorf("series %d, day %d: %w: %w", b.series, b.day, ErrDamaged, err)
}

// decode fills ms and values, which have room for the count of the row.
func (b sealedDay) decode(ms []int64, values []float64) error {
	ms, _, err := block.Decode(b.data, ms, values)
	return b.checkDecoded(len(ms), err)
}

func (b sealedDay) decodeValues(values []float64) error {
	values, err := block.DecodeValues(b.data, values)
	return b.checkDecoded(len(values), err)
}

func (b sealedDay) checkDecoded(n int, err error) error {
	if err == nil && n != b.count {
		err = fmt.Errorf("block of %d readings, its row says %d", n, b.count)
	}
	if err != nil {
		return b.damaged(err)
	}
	return nil
}

package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/ingest"
	"coldweek/ingest/store/block"
)

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
	for i := range scans {
		scans[i] = &scan{fromMS: ceilMS(from), toMS: ceilMS(to)}
	}
	err := s.snapshot(ctx, func(tx *sql.Tx) error { return scanAll(ctx, tx, scans, site, channels) })
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

// scanAll reads and decodes what the channels of a site have.
func scanAll(ctx context.Context, tx *sql.Tx, scans []*scan, site string, channels []ingest.Channel) error {
	if len(scans) == 0 || scans[0].fromMS >= scans[0].toMS {
		return nil
	}
	siteID, series, err := readSeries(ctx, tx, site, channels)
	if err != nil {
		return err
	}
	rows, err := readRows(ctx, tx, siteID, scans[0].fromMS, scans[0].toMS, slices.Collect(maps.Values(series))...)
	if err != nil {
		return err
	}
	decoding := new(errgroup.Group)
	decoding.SetLimit(runtime.GOMAXPROCS(0))
	for i, channel := range channels {
		id, ok := series[channel]
		if !ok {
			continue
		}
		if err = scans[i].read(ctx, tx, id, rows.of(id)); err != nil {
			break
		}
		scans[i].decode(decoding, scans[:i])
	}
	return errors.Join(err, decoding.Wait())
}

// readSeries returns a site's id and those of its series for these channels.
func readSeries(ctx context.Context, tx *sql.Tx, site string, channels []ingest.Channel) (siteID int64, series map[ingest.Channel]int64, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT series.site, series.id, channel FROM series JOIN site ON site.id = series.site
		WHERE site.name = ?`, site)
	if err != nil {
		return 0, nil, err
	}
	defer rows.Close()
	series = make(map[ingest.Channel]int64)
	for rows.Next() {
		var id int64
		var channel ingest.Channel
		if err := rows.Scan(&siteID, &id, &channel); err != nil {
			return 0, nil, err
		}
		if slices.Contains(channels, channel) {
			series[channel] = id
		}
	}
	return siteID, series, rows.Err()
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

// read takes the channel's rows and reads its blocks.
func (s *scan) read(ctx context.Context, tx *sql.Tx, series int64, rows points) (err error) {
	s.fresh = rows
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

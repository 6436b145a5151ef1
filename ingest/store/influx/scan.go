package influx

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/ingest"
	"coldweek/ingest/store/journal"
)

const (
	windowMS = 7 * msPerDay // read with one query; aligned to 1970-01-01, as GROUP BY time is
	queries  = 4            // at a time
)

// Scan returns one column for each channel asked for, in that order, with
// from <= time < to. Columns may share their times: do not write to them.
func (s *Store) Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	columns, err := s.scan(ctx, site, channels, from, to)
	if err != nil {
		return nil, fmt.Errorf("scan %q: %w", site, err)
	}
	return columns, nil
}

func (s *Store) scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error) {
	fromMS, toMS := span(from, to)
	if fromMS >= toMS || len(channels) == 0 {
		return emptyColumns(channels), ctx.Err()
	}
	// First what waits: what is forwarded meanwhile is in the answer as well.
	waiting, err := s.waiting(ctx, site, fromMS, toMS)
	if err != nil {
		return nil, err
	}
	windows, err := s.windows(ctx, site, fromMS, toMS)
	if err != nil {
		return nil, err
	}
	asked := distinct(channels)
	parts := make([][]points, len(windows))
	group, inner := errgroup.WithContext(ctx)
	group.SetLimit(queries)
	for i, w := range windows {
		group.Go(func() (err error) {
			parts[i], err = s.readWindow(inner, site, asked, w)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, cmp.Or(ctx.Err(), err)
	}
	joined := join(parts, len(asked))
	columns := emptyColumns(channels)
	for i, channel := range channels {
		p := waiting[channel].over(joined[slices.Index(asked, channel)])
		columns[i].UnixMS, columns[i].Value = p.ms, p.values
	}
	return columns, nil
}

func emptyColumns(channels []ingest.Channel) []ingest.Column {
	columns := make([]ingest.Column, len(channels))
	for i, channel := range channels {
		columns[i].Channel = channel
	}
	return columns
}

func distinct(channels []ingest.Channel) []ingest.Channel {
	var list []ingest.Channel
	for _, channel := range channels {
		if !slices.Contains(list, channel) {
			list = append(list, channel)
		}
	}
	return list
}

// waiting returns what the journal holds of a site, by channel.
func (s *Store) waiting(ctx context.Context, site string, fromMS, toMS int64) (map[ingest.Channel]points, error) {
	batches, err := s.options.Journal.Pending(ctx, site)
	if err != nil {
		return nil, err
	}
	return overlay(batches, fromMS, toMS), nil
}

func overlay(batches []journal.Batch, fromMS, toMS int64) map[ingest.Channel]points {
	channels := make(map[ingest.Channel]points)
	for _, one := range gather(batches) {
		if one.ms >= fromMS && one.ms < toMS {
			p := channels[one.channel]
			p.add(one.ms, one.value)
			channels[one.channel] = p
		}
	}
	return channels
}

// window is a time of readings, to exclusive.
type window struct{ fromMS, toMS int64 }

// windows cuts a time into parts for one query each. Of a long time only the
// parts that hold anything come, which the points of measurement channel tell.
func (s *Store) windows(ctx context.Context, site string, fromMS, toMS int64) ([]window, error) {
	if toMS-fromMS <= 2*windowMS {
		return cut(fromMS, toMS), nil
	}
	var list []window
	err := s.query(ctx, fmt.Sprintf(`SELECT count("seen") FROM "channel" WHERE "site" = %s AND %s GROUP BY time(%dms) fill(none)`,
		text(site), between(floorTo(fromMS, windowMS), floorTo(toMS-1, windowMS)+windowMS), windowMS),
		func(_ *head, row []cell) error {
			if w := (window{max(fromMS, row[0].whole), min(toMS, row[0].whole+windowMS)}); w.fromMS < w.toMS {
				list = append(list, w)
			}
			return nil
		})
	return list, err
}

func cut(fromMS, toMS int64) []window {
	var list []window
	for fromMS < toMS {
		next := min(toMS, floorTo(fromMS, windowMS)+windowMS)
		list = append(list, window{fromMS, next})
		fromMS = next
	}
	return list
}

// readWindow returns the points of each channel.
func (s *Store) readWindow(ctx context.Context, site string, channels []ingest.Channel, w window) ([]points, error) {
	fields := make([]string, len(channels))
	for i, channel := range channels {
		fields[i] = ident(fieldOf(channel))
	}
	columns := make([]points, len(channels))
	err := s.query(ctx, fmt.Sprintf(`SELECT %s FROM "reading" WHERE "site" = %s AND %s`,
		strings.Join(fields, ", "), text(site), between(w.fromMS, w.toMS)),
		func(_ *head, row []cell) error {
			if len(row) != len(columns)+1 {
				return fmt.Errorf("InfluxDB returned %d columns for %d fields", len(row)-1, len(columns))
			}
			for i := range columns {
				if c := &row[i+1]; c.isNumber() {
					columns[i].put(row[0].whole, c.real)
				}
			}
			return nil
		})
	share(columns)
	return columns, err
}

// share lets columns with the same times have one slice of them.
func share(columns []points) {
	for i := 1; i < len(columns); i++ {
		for _, earlier := range columns[:i] {
			if slices.Equal(columns[i].ms, earlier.ms) {
				columns[i].ms = earlier.ms
				break
			}
		}
	}
}

// join puts the parts of each channel together, and keeps times shared that
// were shared in every part.
func join(parts [][]points, channels int) []points {
	joined := make([]points, channels)
	for i := range joined {
		n := 0
		for _, part := range parts {
			n += part[i].len()
		}
		joined[i].values = make([]float64, 0, n)
		for _, part := range parts {
			joined[i].values = append(joined[i].values, part[i].values...)
		}
		if like := sharedWith(parts, i); like < i {
			joined[i].ms = joined[like].ms
			continue
		}
		joined[i].ms = make([]int64, 0, n)
		for _, part := range parts {
			joined[i].ms = append(joined[i].ms, part[i].ms...)
		}
	}
	return joined
}

// sharedWith returns the first channel that shares its times with channel i in
// every part, i itself when there is no earlier one.
func sharedWith(parts [][]points, i int) int {
	for like := range i {
		if !slices.ContainsFunc(parts, func(part []points) bool { return !part[i].sharesTimes(part[like]) }) {
			return like
		}
	}
	return i
}

// points are readings of one channel in ascending time.
type points struct {
	ms     []int64
	values []float64
}

func (p points) len() int { return len(p.ms) }

func (p *points) add(ms int64, value float64) {
	p.ms = append(p.ms, ms)
	p.values = append(p.values, value)
}

// put adds a reading not before the last; of two in one millisecond, as others
// may have written, the later stays.
func (p *points) put(ms int64, value float64) {
	if n := p.len(); n > 0 && p.ms[n-1] == ms {
		p.values[n-1] = value
		return
	}
	p.add(ms, value)
}

func (p points) sharesTimes(other points) bool {
	return p.len() == other.len() && (p.len() == 0 || &p.ms[0] == &other.ms[0])
}

// over returns both, where a time has two values that of p.
func (p points) over(base points) points {
	if p.len() == 0 {
		return base
	}
	out := points{make([]int64, 0, base.len()+p.len()), make([]float64, 0, base.len()+p.len())}
	i := 0
	for j, ms := range p.ms {
		next, same := slices.BinarySearch(base.ms[i:], ms)
		out.ms = append(append(out.ms, base.ms[i:i+next]...), ms)
		out.values = append(append(out.values, base.values[i:i+next]...), p.values[j])
		i += next
		if same {
			i++
		}
	}
	return points{append(out.ms, base.ms[i:]...), append(out.values, base.values[i:]...)}
}

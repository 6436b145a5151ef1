package local

import (
	"context"
	"errors"
	"fmt"

	"coldweek/ingest"
	"coldweek/ingest/store/block"
)

// Append makes the batch durable and says how many readings were new or
// changed a value.
func (s *Store) Append(ctx context.Context, batch []ingest.Reading) (changed int64, err error) {
	portions, err := divide(batch)
	if err == nil && len(portions) > 0 {
		err = s.transact(ctx, func(t *transaction) error {
			changed, err = t.append(ctx, portions)
			return err
		})
	}
	if err != nil {
		return 0, fmt.Errorf("append %d readings: %w", len(batch), err)
	}
	return changed, nil
}

// append stores portions, which are sorted by site and day.
func (t *transaction) append(ctx context.Context, portions []portion) (total int64, err error) {
	today := dayOf(t.store.options.Now().UnixMilli())
	revisions := make(map[int64]int64)
	for len(portions) > 0 {
		n := 1
		for n < len(portions) && portions[n].day == portions[0].day && portions[n].name.site == portions[0].name.site {
			n++
		}
		changed, site, err := t.appendDay(ctx, portions[:n], today)
		if err != nil {
			return 0, err
		}
		if changed > 0 {
			if err := t.raise(ctx, revisions, site, portions[:n]); err != nil {
				return 0, err
			}
		}
		total += changed
		portions = portions[n:]
	}
	return total, nil
}

// appendDay stores the portions of one site and day.
func (t *transaction) appendDay(ctx context.Context, portions []portion, today int64) (changed, site int64, err error) {
	var samples []sample
	for _, p := range portions {
		series, err := t.series(ctx, p.name)
		if err != nil {
			return 0, 0, err
		}
		site = series.site
		left, merged, err := t.settle(ctx, series, p, today)
		if err != nil {
			return 0, 0, err
		}
		changed += int64(merged)
		for i, ms := range left.ms {
			samples = append(samples, sample{ms, entry{series.id, left.values[i]}})
		}
	}
	put, err := t.put(ctx, site, gather(samples))
	return changed + int64(put), site, err
}

// settle does what is to be done with the block of a portion's day. It returns
// what is left to become rows and how many readings it merged into the block.
func (t *transaction) settle(ctx context.Context, s *series, p portion, today int64) (left points, merged int, err error) {
	merge := p.day < today && p.len() >= t.store.options.MergeFrom
	if !merge && p.ms[0] > s.sealedTo {
		return p.points, 0, nil
	}
	sealed, err := readBlock(ctx, t.Tx, s.id, p.day)
	if err != nil || (!merge && sealed.len() == 0) {
		return p.points, 0, err
	}
	fromMS, toMS := p.ms[0], p.ms[p.len()-1]+1
	if merge {
		fromMS, toMS = startOf(p.day), startOf(p.day+1)
	}
	rows, err := readRows(ctx, t.Tx, s.site, fromMS, toMS, s.id)
	if err != nil {
		return points{}, 0, err
	}
	current := rows.of(s.id).over(sealed)
	news := p.points.without(current)
	if !merge || news.len() == 0 {
		return news, 0, nil
	}
	whole := news.over(current)
	if err = t.seal(ctx, s.id, p.day, whole); err == nil && rows.of(s.id).len() > 0 {
		err = t.strip(ctx, s.site, fromMS, toMS, s.id)
	}
	if errors.Is(err, block.ErrTooMany) {
		return news, 0, nil
	}
	s.sealedTo = max(s.sealedTo, whole.ms[whole.len()-1])
	return points{}, news.len(), err
}

// seal makes p the block of a day. An error that wraps block.ErrTooMany has
// changed nothing.
func (t *transaction) seal(ctx context.Context, series, day int64, p points) error {
	if p.len() > t.store.options.blockLimit {
		return block.ErrTooMany
	}
	data, err := block.Append(nil, p.ms, p.values)
	if err != nil {
		return err
	}
	_, err = t.prepared(ctx, putBlock).ExecContext(ctx, series, day, p.len(), p.ms[0], p.ms[p.len()-1], data)
	return err
}

// raise gives the site and the hours of the portions a new revision, one for all
// of a transaction; raised remembers it by site.
func (t *transaction) raise(ctx context.Context, raised map[int64]int64, site int64, portions []portion) error {
	revision, ok := raised[site]
	if !ok {
		if err := t.prepared(ctx, raiseSite).QueryRowContext(ctx, site).Scan(&revision); err != nil {
			return err
		}
		raised[site] = revision
	}
	first, last := hoursOf(portions)
	for hour := first; hour <= last; hour++ {
		if _, err := t.prepared(ctx, raiseHour).ExecContext(ctx, site, hour, revision); err != nil {
			return err
		}
	}
	return nil
}

// hoursOf returns the first and the last hour that portions of one day touch.
func hoursOf(portions []portion) (first, last int64) {
	first, last = hourOf(portions[0].ms[0]), hourOf(portions[0].ms[portions[0].len()-1])
	for _, p := range portions[1:] {
		first, last = min(first, hourOf(p.ms[0])), max(last, hourOf(p.ms[p.len()-1]))
	}
	return first, last
}

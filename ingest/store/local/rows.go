package local

import (
	"context"
	"database/sql"
	"fmt"
	"math"
)

// rowsBySeries are readings in rows, by the id of their series.
type rowsBySeries map[int64]*points

func (r rowsBySeries) of(series int64) points {
	if p := r[series]; p != nil {
		return *p
	}
	return points{}
}

// readRows returns what rows of a site with from <= time < to hold of some
// series.
func readRows(ctx context.Context, tx *sql.Tx, site, fromMS, toMS int64, series ...int64) (rowsBySeries, error) {
	found := make(rowsBySeries, len(series))
	if len(series) == 0 {
		return found, nil
	}
	for _, id := range series {
		found[id] = new(points)
	}
	err := eachRow(ctx, tx, site, fromMS, toMS, func(ms int64, e entry) {
		if p := found[e.series]; p != nil {
			p.add(ms, e.value)
		}
	})
	return found, err
}

// readAllRows returns what rows of a site with from <= time < to hold.
func readAllRows(ctx context.Context, tx *sql.Tx, site, fromMS, toMS int64) (rowsBySeries, error) {
	found := make(rowsBySeries)
	err := eachRow(ctx, tx, site, fromMS, toMS, func(ms int64, e entry) {
		p := found[e.series]
		if p == nil {
			p = new(points)
			found[e.series] = p
		}
		p.add(ms, e.value)
	})
	return found, err
}

// readMessages returns the rows of a site with from <= time < to.
func readMessages(ctx context.Context, tx *sql.Tx, site, fromMS, toMS int64) (messages []timedMessage, err error) {
	err = eachRow(ctx, tx, site, fromMS, toMS, func(ms int64, e entry) {
		if n := len(messages); n == 0 || messages[n-1].ms != ms {
			messages = append(messages, timedMessage{ms: ms})
		}
		last := &messages[len(messages)-1]
		last.message = append(last.message, e)
	})
	return messages, err
}

// eachRow calls do for each reading in rows of a site with from <= time < to,
// in ascending time.
func eachRow(ctx context.Context, tx *sql.Tx, site, fromMS, toMS int64, do func(ms int64, e entry)) error {
	rows, err := tx.QueryContext(ctx, "SELECT unix_ms, readings FROM fresh WHERE site = ? AND unix_ms >= ? AND unix_ms < ? ORDER BY unix_ms",
		site, fromMS, toMS)
	if err != nil {
		return err
	}
	return eachOf(rows, site, func(ms int64, e entry) bool {
		do(ms, e)
		return true
	})
}

// eachOf goes through rows of unix_ms and readings until more says no, and
// closes them.
func eachOf(rows *sql.Rows, site int64, more func(ms int64, e entry) bool) error {
	defer rows.Close()
	var ms any // the only type database/sql does not take through text
	var data sql.RawBytes
	for wanted := true; wanted && rows.Next(); {
		if err := rows.Scan(&ms, &data); err != nil {
			return err
		}
		err := eachEntry(data, func(e entry) { wanted = more(ms.(int64), e) && wanted })
		if err != nil {
			return fmt.Errorf("site %d, time %d: %w: %w", site, ms, ErrDamaged, err)
		}
	}
	return rows.Err()
}

// put stores messages of a site and counts the values that are new or changed.
func (t *transaction) put(ctx context.Context, site int64, messages []timedMessage) (changed int, err error) {
	if len(messages) == 0 {
		return 0, nil
	}
	first, last := messages[0].ms, messages[len(messages)-1].ms
	end, err := t.endOfRows(ctx, site)
	if err != nil {
		return 0, err
	}
	var there []timedMessage
	if first <= end {
		if there, err = readMessages(ctx, t.Tx, site, first, last+1); err != nil {
			return 0, err
		}
	}
	t.store.catalogue.ends[site] = max(end, last)
	news := messages[:0]
	for _, m := range messages {
		for len(there) > 0 && there[0].ms < m.ms {
			there = there[1:]
		}
		n := len(m.message)
		if len(there) > 0 && there[0].ms == m.ms {
			m.message, n = m.over(there[0].message)
		}
		if n > 0 {
			changed += n
			news = append(news, m)
		}
	}
	return changed, t.write(ctx, site, news)
}

// endOfRows returns a time after which the site surely has no rows.
func (t *transaction) endOfRows(ctx context.Context, site int64) (int64, error) {
	if end, ok := t.store.catalogue.ends[site]; ok {
		return end, nil
	}
	var last sql.NullInt64
	err := t.QueryRowContext(ctx, "SELECT max(unix_ms) FROM fresh WHERE site = ?", site).Scan(&last)
	if !last.Valid {
		return math.MinInt64, err
	}
	return last.Int64, err
}

// write puts messages in the place of their rows.
func (t *transaction) write(ctx context.Context, site int64, messages []timedMessage) error {
	rows := make([]any, 0, len(messages)*columnsPerRow)
	for _, m := range messages {
		rows = append(rows, site, m.ms, m.encode())
	}
	for _, n := range upsertSizes {
		arguments := n * columnsPerRow
		for ; len(rows) >= arguments; rows = rows[arguments:] {
			if _, err := t.prepared(ctx, upsertRows(n)).ExecContext(ctx, rows[:arguments]...); err != nil {
				return err
			}
		}
	}
	return nil
}

// strip takes some series out of the rows of a site with from <= time < to.
func (t *transaction) strip(ctx context.Context, site, fromMS, toMS int64, series ...int64) error {
	gone := make(map[int64]bool, len(series))
	for _, id := range series {
		gone[id] = true
	}
	var left []timedMessage
	err := eachRow(ctx, t.Tx, site, fromMS, toMS, func(ms int64, e entry) {
		if gone[e.series] {
			return
		}
		if n := len(left); n == 0 || left[n-1].ms != ms {
			left = append(left, timedMessage{ms: ms})
		}
		last := &left[len(left)-1]
		last.message = append(last.message, e)
	})
	if err != nil {
		return err
	}
	if err := t.dropRows(ctx, site, fromMS, toMS); err != nil {
		return err
	}
	return t.write(ctx, site, left)
}

func (t *transaction) dropRows(ctx context.Context, site, fromMS, toMS int64) error {
	_, err := t.prepared(ctx, dropRows).ExecContext(ctx, site, fromMS, toMS)
	return err
}

package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

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
			if err := t.raise(ctx, revisions, site, portions[0].day); err != nil {
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
	var rows []any
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
			rows = append(rows, series.id, ms, stored(left.values[i]))
		}
	}
	upserted, err := t.upsert(ctx, rows)
	return changed + upserted, site, err
}

// settle does what is to be done with the block of a portion's day. It returns
// what is left to become rows and how many readings it merged into the block.
func (t *transaction) settle(ctx context.Context, s *series, p portion, today int64) (left points, merged int, err error) {
	merge := p.day < today && p.len() >= t.store.options.MergeFrom
	if !merge && p.day > s.lastBlock {
		return p.points, 0, nil
	}
	sealed, err := readBlock(ctx, t.Tx, s.id, p.day)
	if err != nil || (!merge && sealed.len() == 0) {
		return p.points, 0, err
	}
	fromMS, toMS := p.ms[0], p.ms[p.len()-1]+1
	if merge {
		fromMS, toMS = p.day*msPerDay, (p.day+1)*msPerDay
	}
	fresh, err := readRows(ctx, t.Tx, s.id, fromMS, toMS)
	if err != nil {
		return points{}, 0, err
	}
	current := fresh.over(sealed)
	news := p.points.without(current)
	if !merge || news.len() == 0 {
		return news, 0, nil
	}
	err = t.seal(ctx, s.id, p.day, news.over(current))
	if errors.Is(err, block.ErrTooMany) {
		return news, 0, nil
	}
	s.lastBlock = max(s.lastBlock, p.day)
	return points{}, news.len(), err
}

// seal makes p the block of a day and takes away the rows it replaces. An
// error that wraps block.ErrTooMany has changed nothing.
func (t *transaction) seal(ctx context.Context, series, day int64, p points) error {
	if p.len() > t.store.options.blockLimit {
		return block.ErrTooMany
	}
	data, err := block.Append(nil, p.ms, p.values)
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, `INSERT INTO block (series, day, count, first_ms, last_ms, data) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET count = excluded.count, first_ms = excluded.first_ms, last_ms = excluded.last_ms, data = excluded.data`,
		series, day, p.len(), p.ms[0], p.ms[p.len()-1], data)
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, "DELETE FROM fresh WHERE series = ? AND unix_ms >= ? AND unix_ms < ?",
		series, day*msPerDay, (day+1)*msPerDay)
	return err
}

// raise gives the site and day a new revision, one for all days of a
// transaction; raised remembers it by site.
func (t *transaction) raise(ctx context.Context, raised map[int64]int64, site, day int64) error {
	revision, ok := raised[site]
	if !ok {
		err := t.QueryRowContext(ctx, "UPDATE site SET revision = revision + 1 WHERE id = ? RETURNING revision", site).Scan(&revision)
		if err != nil {
			return err
		}
		raised[site] = revision
	}
	_, err := t.ExecContext(ctx, `INSERT INTO day_revision (site, day, revision) VALUES (?, ?, ?)
		ON CONFLICT DO UPDATE SET revision = excluded.revision`, site, day, revision)
	return err
}

// upsert is a prepared statement for a number of rows.
type upsert struct {
	rows      int
	statement *sql.Stmt
}

// upsertSizes are tried from the largest. Beyond 64 rows a statement gains
// nothing measurable.
var upsertSizes = []int{64, 8, 1}

const columnsPerRow = 3

func prepareUpserts(ctx context.Context, db *sql.DB) ([]upsert, error) {
	upserts := make([]upsert, len(upsertSizes))
	for i, n := range upsertSizes {
		rows := strings.TrimSuffix(strings.Repeat("(?,?,?),", n), ",")
		statement, err := db.PrepareContext(ctx, "INSERT INTO fresh (series, unix_ms, value) VALUES "+rows+
			" ON CONFLICT DO UPDATE SET value = excluded.value WHERE value IS NOT excluded.value")
		if err != nil {
			return nil, err
		}
		upserts[i] = upsert{n, statement}
	}
	return upserts, nil
}

// upsert stores rows (three arguments each) and counts those that changed
// something.
func (t *transaction) upsert(ctx context.Context, rows []any) (changed int64, err error) {
	for _, u := range t.store.upserts {
		if len(rows) < u.rows*columnsPerRow {
			continue
		}
		statement := t.StmtContext(ctx, u.statement)
		for ; len(rows) >= u.rows*columnsPerRow; rows = rows[u.rows*columnsPerRow:] {
			result, err := statement.ExecContext(ctx, rows[:u.rows*columnsPerRow]...)
			if err != nil {
				return 0, err
			}
			n, err := result.RowsAffected()
			if err != nil {
				return 0, err
			}
			changed += n
		}
	}
	return changed, nil
}

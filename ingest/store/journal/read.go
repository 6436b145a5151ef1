package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"coldweek/ingest/store/sqlitefile"
)

// Batches are batches in ascending order of their ids.
type Batches []Batch

// Through returns the id of the last, 0 when there is none.
func (b Batches) Through() int64 {
	if len(b) == 0 {
		return 0
	}
	return b[len(b)-1].ID
}

// Readings returns how many readings they hold.
func (b Batches) Readings() int {
	n := 0
	for _, batch := range b {
		n += len(batch.Readings)
	}
	return n
}

// DamagedError says that a batch cannot be read; SetAside takes it out of the
// way. It is an ErrDamaged.
type DamagedError struct {
	ID  int64
	Err error
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("batch %d of the journal is damaged: %v", e.ID, e.Err)
}

// Unwrap makes it ErrDamaged and its cause.
func (e *DamagedError) Unwrap() []error { return []error{ErrDamaged, e.Err} }

// coded is a row of the batch table.
type coded struct {
	id    int64
	count int
	data  []byte
	err   error // why the row makes no sense
}

// Next returns the oldest batches, whole ones of about atMost readings in all:
// at least one when any waits, none when nothing does. A batch that is damaged
// ends the list; when it is the oldest, the error is a *DamagedError.
func (j *Journal) Next(ctx context.Context, atMost int) (Batches, error) {
	total := 0
	rows, err := j.rows(ctx, func(c coded) bool {
		total += c.count
		return total < atMost
	}, "SELECT id, count, data FROM batch ORDER BY id")
	if err != nil {
		return nil, fmt.Errorf("read what waits in the journal: %w", err)
	}
	var batches Batches
	for _, row := range rows {
		batch, err := row.decode("")
		if err != nil && len(batches) == 0 {
			return nil, err
		}
		if err != nil {
			break
		}
		batches = append(batches, batch)
	}
	return batches, nil
}

// Pending returns what waits of one site, in order: of each batch that holds
// some the readings of that site. A damaged batch is a *DamagedError.
func (j *Journal) Pending(ctx context.Context, site string) ([]Batch, error) {
	all := func(coded) bool { return true }
	rows, err := j.rows(ctx, all, "SELECT id, count, data FROM batch WHERE instr(sites, ?) ORDER BY id", listSites([]string{site}))
	if err != nil {
		return nil, fmt.Errorf("read what waits of %q in the journal: %w", site, err)
	}
	var batches []Batch
	for _, row := range rows {
		batch, err := row.decode(site)
		if err != nil {
			return nil, err
		}
		if len(batch.Readings) > 0 {
			batches = append(batches, batch)
		}
	}
	return batches, nil
}

// rows runs a query for id, count and data until more says no.
func (j *Journal) rows(ctx context.Context, more func(coded) bool, query string, args ...any) ([]coded, error) {
	rows, err := j.read.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, sqlitefile.Explain(ctx, err)
	}
	defer rows.Close()
	var list []coded
	for rows.Next() {
		var c coded
		if err := rows.Scan(&c.id, &c.count, &c.data); err != nil {
			c.err = err
		}
		list = append(list, c)
		if !more(c) {
			break
		}
	}
	return list, sqlitefile.Explain(ctx, rows.Err())
}

// decode returns the batch, of one site only unless site is empty.
func (c coded) decode(site string) (Batch, error) {
	if c.err != nil {
		return Batch{}, &DamagedError{c.id, c.err}
	}
	readings, err := decode(c.data, site)
	if err == nil && site == "" && len(readings) != c.count {
		err = fmt.Errorf("it holds %d readings, its row says %d", len(readings), c.count)
	}
	if err != nil {
		return Batch{}, &DamagedError{c.id, err}
	}
	return Batch{ID: c.id, Readings: readings}, nil
}

// Depth is how much waits.
type Depth struct {
	Batches, Readings int64
	Oldest            time.Time // when the oldest of it was appended; zero when nothing waits
}

// depthQuery takes differences between the oldest and the newest batch, less
// what was set aside between them.
const depthQuery = `
SELECT newest.ordinal - oldest.ordinal + 1 - (SELECT count(*) FROM set_aside WHERE id BETWEEN oldest.id AND newest.id),
  newest.through - oldest.through + oldest.count
    - (SELECT coalesce(sum(count), 0) FROM set_aside WHERE id BETWEEN oldest.id AND newest.id),
  oldest.appended_ms
FROM (SELECT id, ordinal, through, count, appended_ms FROM batch ORDER BY id LIMIT 1) AS oldest,
  (SELECT id, ordinal, through FROM batch ORDER BY id DESC LIMIT 1) AS newest`

// Depth says how much waits, without going through it.
func (j *Journal) Depth(ctx context.Context) (Depth, error) {
	var d Depth
	var oldestMS int64
	err := j.read.QueryRowContext(ctx, depthQuery).Scan(&d.Batches, &d.Readings, &oldestMS)
	if errors.Is(err, sql.ErrNoRows) {
		return Depth{}, nil
	}
	if err != nil {
		return Depth{}, fmt.Errorf("measure the journal: %w", sqlitefile.Explain(ctx, err))
	}
	d.Oldest = time.UnixMilli(oldestMS).UTC()
	return d, nil
}

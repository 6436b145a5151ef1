package journal

import (
	"context"
	"database/sql"
	"fmt"

	"coldweek/ingest/store/sqlitefile"
)

// Drop forgets all batches up to and including that id: they have been
// forwarded.
func (j *Journal) Drop(ctx context.Context, through int64) error {
	err := j.inTurn(ctx, func(ctx context.Context) error {
		if err := j.reserve.whenFull(func() error { return j.drop(ctx, through) }); err != nil {
			return err
		}
		if err := j.shrink(ctx); err != nil { // what was to be done is done
			j.options.Logger.WarnContext(ctx, "free pages of the journal not given back", "path", j.path, "error", err)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("drop batches of the journal up to %d: %w", through, err)
	}
	return nil
}

func (j *Journal) drop(ctx context.Context, through int64) error {
	return j.transact(ctx, func(tx *sql.Tx) error {
		if err := remember(ctx, tx, "id <= ?", through); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "DELETE FROM batch WHERE id <= ?", through)
		return err
	})
}

// remember keeps in the state what the next batch goes on from, before the
// batches of which a condition holds are taken out.
func remember(ctx context.Context, tx *sql.Tx, condition string, id int64) error {
	_, err := tx.ExecContext(ctx, `UPDATE state SET (id, ordinal, through) = (taken.id, taken.ordinal, taken.through)
		FROM (SELECT id, ordinal, through FROM batch WHERE `+condition+` ORDER BY id DESC LIMIT 1) AS taken
		WHERE taken.id > state.id`, id)
	return err
}

// SetAside takes a damaged batch out of the way, so that those after it can be
// forwarded. Its bytes stay in the file, in the table set_aside.
func (j *Journal) SetAside(ctx context.Context, id int64) error {
	err := j.inTurn(ctx, func(ctx context.Context) error {
		return j.reserve.whenFull(func() error {
			return j.transact(ctx, func(tx *sql.Tx) error { return j.move(ctx, tx, id) })
		})
	})
	if err != nil {
		return fmt.Errorf("set batch %d of the journal aside: %w", id, err)
	}
	j.options.Logger.WarnContext(ctx, "batch of the journal set aside", "path", j.path, "table", "set_aside", "id", id)
	return nil
}

func (j *Journal) move(ctx context.Context, tx *sql.Tx, id int64) error {
	result, err := tx.ExecContext(ctx, `INSERT INTO set_aside (id, count, appended_ms, sites, data, set_aside_ms)
		SELECT id, count, appended_ms, sites, data, ? FROM batch WHERE id = ?`, j.options.Now().UnixMilli(), id)
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil || n == 0 {
		return fmt.Errorf("no such batch waits: %w", sql.ErrNoRows)
	}
	if err := remember(ctx, tx, "id = ?", id); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "DELETE FROM batch WHERE id = ?", id)
	return err
}

func (j *Journal) transact(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := j.write.BeginTx(ctx, nil)
	if err != nil {
		return sqlitefile.Classify(err)
	}
	defer tx.Rollback() // after Commit this does nothing
	if err := do(tx); err != nil {
		return sqlitefile.Classify(err)
	}
	return sqlitefile.Classify(tx.Commit())
}

const (
	keptFree   = 256 // pages always kept for the next batches
	vacuumStep = 500 // pages given back at a time: few, for they go through the log
)

// shrink gives pages back to the disk: when more are free than in use, or the
// disk is full.
func (j *Journal) shrink(ctx context.Context) error {
	pages, free, err := j.pages(ctx)
	if err != nil {
		return err
	}
	if surplus := min(free-max(pages-free, keptFree), vacuumStep); surplus > 0 {
		err = j.reserve.whenFull(func() error { return j.vacuum(ctx, surplus) })
	}
	if err != nil || j.reserve.held() {
		return err
	}
	return j.regain(ctx)
}

// pages returns how many pages the file has and how many of them are free.
func (j *Journal) pages(ctx context.Context) (pages, free int64, err error) {
	err = j.write.QueryRowContext(ctx, "SELECT page_count, freelist_count FROM pragma_page_count, pragma_freelist_count").Scan(&pages, &free)
	return pages, free, err
}

func (j *Journal) vacuum(ctx context.Context, pages int64) error {
	_, err := j.write.ExecContext(ctx, fmt.Sprintf("PRAGMA incremental_vacuum(%d)", pages))
	return sqlitefile.Classify(err)
}

// checkpoint moves the log into the file and empties it.
func (j *Journal) checkpoint(ctx context.Context) error {
	_, err := j.write.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	return sqlitefile.Classify(err)
}

package local

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"coldweek/ingest/store"
)

// AddAction keeps an action.
func (s *Store) AddAction(ctx context.Context, a store.Action) error {
	err := a.Check()
	if err == nil {
		err = s.transact(ctx, func(t *transaction) error {
			site, err := t.site(ctx, a.Site)
			if err != nil {
				return err
			}
			_, err = t.ExecContext(ctx, `INSERT OR REPLACE INTO finding_action (site, kind, at_ms, deed, person, note, until_ms)
				VALUES (?, ?, ?, ?, ?, ?, ?)`, site, a.Kind, a.At.UnixMilli(), string(a.Deed), a.By, a.Note, orNull(a.Until))
			return err
		})
	}
	if err != nil {
		return fmt.Errorf("keep action on %s of %q: %w", a.Kind, a.Site, err)
	}
	return nil
}

// orNull is a time in milliseconds, null when it is zero.
func orNull(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMilli(), Valid: !t.IsZero()}
}

// timeOf is the reverse of orNull.
func timeOf(ms sql.NullInt64) time.Time {
	if !ms.Valid {
		return time.Time{}
	}
	return time.UnixMilli(ms.Int64).UTC()
}

// Actions returns a site's actions in the order of their times.
func (s *Store) Actions(ctx context.Context, site string) ([]store.Action, error) {
	var actions []store.Action
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT kind, at_ms, deed, person, note, until_ms
			FROM finding_action JOIN site ON site.id = finding_action.site WHERE name = ? ORDER BY at_ms, kind`, site)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			a := store.Action{Site: site}
			var at int64
			var until sql.NullInt64
			if err := rows.Scan(&a.Kind, &at, &a.Deed, &a.By, &a.Note, &until); err != nil {
				return err
			}
			a.At, a.Until = time.UnixMilli(at).UTC(), timeOf(until)
			actions = append(actions, a)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("read actions of %q: %w", site, err)
	}
	return actions, nil
}

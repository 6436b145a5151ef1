package local

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	fastjson "github.com/go-json-experiment/json"

	"coldweek/ingest/store"
)

// Revisions returns for each period the highest revision of the hours that overlap
// it, so it may grow for a change just outside, never miss one inside.
func (s *Store) Revisions(ctx context.Context, site string, periods []store.Period) ([]int64, error) {
	hours := make([][2]int64, len(periods)) // first and last; the last is before the first where there is none
	for i, p := range periods {
		hours[i] = [2]int64{0, -1}
		if fromMS, toMS := ceilMS(p.From), ceilMS(p.To); fromMS < toMS {
			hours[i] = [2]int64{hourOf(fromMS), hourOf(toMS - 1)}
		}
	}
	asked, err := json.Marshal(hours)
	if err != nil {
		return nil, err
	}
	revisions := make([]int64, 0, len(periods))
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT (SELECT coalesce(max(revision), 0) FROM hour_revision
				WHERE hour_revision.site = (SELECT id FROM site WHERE name = ?) AND hour BETWEEN value ->> 0 AND value ->> 1)
			FROM json_each(?) ORDER BY key`, site, string(asked))
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var revision int64
			if err := rows.Scan(&revision); err != nil {
				return err
			}
			revisions = append(revisions, revision)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("read revisions of %q: %w", site, err)
	}
	return revisions, nil
}

// PutDays stores the days, each in place of the one with its site and date.
func (s *Store) PutDays(ctx context.Context, days []store.Day) error {
	if len(days) == 0 {
		return nil
	}
	err := s.transact(ctx, func(t *transaction) error {
		for _, d := range days {
			if err := t.putDay(ctx, d); err != nil {
				return fmt.Errorf("%s of %q: %w", d.Date, d.Site, err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("store %d site days: %w", len(days), err)
	}
	return nil
}

func (t *transaction) putDay(ctx context.Context, d store.Day) error {
	if _, err := time.Parse(time.DateOnly, d.Date); err != nil {
		return fmt.Errorf("a date is YYYY-MM-DD: %w", err)
	}
	fields, err := json.Marshal(d.Fields)
	if err != nil {
		return err
	}
	site, err := t.site(ctx, d.Site)
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, `INSERT INTO site_day (site, date, definition, revision, fields, detail) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET definition = excluded.definition, revision = excluded.revision,
			fields = excluded.fields, detail = excluded.detail`,
		site, d.Date, d.Definition, d.Revision, string(fields), d.Detail)
	return err
}

// Days returns the stored days with fromDate <= date < toDate, ascending.
func (s *Store) Days(ctx context.Context, site, fromDate, toDate string) ([]store.Day, error) {
	var days []store.Day
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT date, definition, site_day.revision, fields, detail
			FROM site_day JOIN site ON site.id = site_day.site WHERE name = ? AND date >= ? AND date < ? ORDER BY date`,
			site, fromDate, toDate)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			d := store.Day{Site: site}
			var fields []byte
			if err := rows.Scan(&d.Date, &d.Definition, &d.Revision, &fields, &d.Detail); err != nil {
				return err
			}
			if err := fastjson.Unmarshal(fields, &d.Fields); err != nil { // in half the time of encoding/json
				return fmt.Errorf("%s: %w", d.Date, err)
			}
			days = append(days, d)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("read days of %q: %w", site, err)
	}
	return days, nil
}

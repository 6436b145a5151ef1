package local

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"coldweek/ingest/store"
)

// PutFindings stores the findings, each in place of the one with its site, kind
// and beginning.
func (s *Store) PutFindings(ctx context.Context, findings []store.Finding) error {
	if len(findings) == 0 {
		return nil
	}
	err := s.transact(ctx, func(t *transaction) error {
		for _, f := range findings {
			if err := t.putFinding(ctx, f); err != nil {
				return fmt.Errorf("%s of %q since %s: %w", f.Kind, f.Site, f.Since.UTC().Format(time.RFC3339), err)
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("store %d findings: %w", len(findings), err)
	}
	return nil
}

func (t *transaction) putFinding(ctx context.Context, f store.Finding) error {
	if err := f.Check(); err != nil {
		return err
	}
	fields, err := json.Marshal(f.Fields)
	if err != nil {
		return err
	}
	site, err := t.site(ctx, f.Site)
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, `INSERT INTO finding (site, kind, since_ms, until_ms, severity, fields, detail) VALUES (?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET until_ms = excluded.until_ms, severity = excluded.severity,
			fields = excluded.fields, detail = excluded.detail`,
		site, f.Kind, f.Since.UnixMilli(), orNull(f.Until), string(f.Severity), string(fields), f.Detail)
	return err
}

// Findings returns those that began before to and had not ended by from, in the
// order they began, then by kind.
func (s *Store) Findings(ctx context.Context, site string, from, to time.Time) ([]store.Finding, error) {
	var findings []store.Finding
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT kind, since_ms, until_ms, severity, fields, detail
			FROM finding JOIN site ON site.id = finding.site
			WHERE name = ? AND since_ms < ? AND (until_ms IS NULL OR until_ms >= ?) ORDER BY since_ms, kind`,
			site, ceilMS(to), ceilMS(from.Add(1)))
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			f, err := scanFinding(rows)
			if err != nil {
				return err
			}
			f.Site = site
			findings = append(findings, f)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("read findings of %q: %w", site, err)
	}
	return findings, nil
}

func scanFinding(rows *sql.Rows) (f store.Finding, err error) {
	var since int64
	var until sql.NullInt64
	var fields []byte
	if err := rows.Scan(&f.Kind, &since, &until, &f.Severity, &fields, &f.Detail); err != nil {
		return f, err
	}
	f.Since, f.Until = time.UnixMilli(since).UTC(), timeOf(until)
	if err := json.Unmarshal(fields, &f.Fields); err != nil {
		return f, fmt.Errorf("%s: %w", f.Kind, err)
	}
	return f, nil
}

package local

import (
	"context"
	"database/sql"
	"fmt"
)

// carryOver makes messages of rows that held a reading each, site by site, and
// drops those.
func carryOver(ctx context.Context, tx *sql.Tx) error {
	sites, err := sitesWithRows(ctx, tx)
	if err != nil {
		return err
	}
	put, err := tx.PrepareContext(ctx, upsertRows(1))
	if err != nil {
		return err
	}
	defer put.Close()
	for _, site := range sites {
		samples, err := readSamples(ctx, tx, site)
		if err != nil {
			return fmt.Errorf("carry over rows of site %d: %w", site, err)
		}
		for _, m := range gather(samples) {
			if _, err := put.ExecContext(ctx, site, m.ms, m.encode()); err != nil {
				return err
			}
		}
	}
	_, err = tx.ExecContext(ctx, "DROP TABLE fresh_by_series")
	return err
}

func sitesWithRows(ctx context.Context, tx *sql.Tx) (sites []int64, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT DISTINCT site FROM series
		WHERE EXISTS (SELECT 1 FROM fresh_by_series WHERE series = series.id) ORDER BY site`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var site int64
		if err := rows.Scan(&site); err != nil {
			return nil, err
		}
		sites = append(sites, site)
	}
	return sites, rows.Err()
}

func readSamples(ctx context.Context, tx *sql.Tx, site int64) (samples []sample, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT unix_ms, series, value FROM fresh_by_series
		WHERE series IN (SELECT id FROM series WHERE site = ?)`, site)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s sample
		if err := rows.Scan(&s.ms, &s.series, &s.value); err != nil {
			return nil, err
		}
		samples = append(samples, s)
	}
	return samples, rows.Err()
}

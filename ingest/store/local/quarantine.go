package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// Refuse keeps the items, arrival to the millisecond, and drops the oldest
// beyond the limits.
func (s *Store) Refuse(ctx context.Context, items []ingest.Rejected) error {
	if len(items) == 0 {
		return nil
	}
	err := s.transact(ctx, func(t *transaction) error {
		if err := t.countRefusals(ctx, items); err != nil {
			return err
		}
		newest := items[max(0, len(items)-s.options.QuarantineLimit):]
		lastID, through, err := t.keepRefusals(ctx, newest)
		if err != nil {
			return err
		}
		return t.dropRefusals(ctx, lastID, through)
	})
	if err != nil {
		return fmt.Errorf("keep %d refused messages: %w", len(items), err)
	}
	return nil
}

func (t *transaction) countRefusals(ctx context.Context, items []ingest.Rejected) error {
	totals := make(map[ingest.Reason]int)
	for _, item := range items {
		totals[item.Reason]++
	}
	for reason, n := range totals {
		_, err := t.ExecContext(ctx, `INSERT INTO refusal_total (reason, total) VALUES (?, ?)
			ON CONFLICT DO UPDATE SET total = total + excluded.total`, reason, n)
		if err != nil {
			return err
		}
	}
	return nil
}

// refusalOverhead is about what a row costs besides its texts.
const refusalOverhead = 64

// keepRefusals inserts the items and returns the last row's id and through.
func (t *transaction) keepRefusals(ctx context.Context, items []ingest.Rejected) (id, through int64, err error) {
	err = t.QueryRowContext(ctx, "SELECT through FROM refusal ORDER BY id DESC LIMIT 1").Scan(&through)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, 0, err
	}
	insert, err := t.PrepareContext(ctx, `INSERT INTO refusal (arrived_ms, reason, through, site, topic, detail, payload)
		VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id`)
	if err != nil {
		return 0, 0, err
	}
	defer insert.Close()
	for _, item := range items {
		payload := ingest.CutPayload(item.Payload)
		topic, detail := cutText(item.Topic), cutText(item.Detail)
		through += int64(refusalOverhead + len(item.Site) + len(topic) + len(detail) + len(payload))
		err := insert.QueryRowContext(ctx, item.Arrived.UnixMilli(), item.Reason, through, item.Site, topic, detail, payload).Scan(&id)
		if err != nil {
			return 0, 0, err
		}
	}
	return id, through, nil
}

// cutText bounds a text from outside; topics may be 64 KiB long.
func cutText(s string) string { return s[:min(len(s), ingest.MaxRejectedPayload)] }

// dropRefusals drops the oldest until both limits hold. Ids have no gaps, as
// only the oldest ever go.
func (t *transaction) dropRefusals(ctx context.Context, lastID, through int64) error {
	o := t.store.options
	_, err := t.ExecContext(ctx, `DELETE FROM refusal WHERE id <= max(?,
		coalesce((SELECT id FROM refusal WHERE through <= ? ORDER BY through DESC LIMIT 1), 0))`,
		lastID-int64(o.QuarantineLimit), through-o.QuarantineBytes)
	return err
}

// Refusals returns the newest first.
func (s *Store) Refusals(ctx context.Context, limit int) ([]store.Refused, error) {
	var refused []store.Refused
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT id, arrived_ms, reason, site, topic, detail, payload
			FROM refusal ORDER BY id DESC LIMIT ?`, max(limit, 0))
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var r store.Refused
			var arrivedMS int64
			if err := rows.Scan(&r.ID, &arrivedMS, &r.Reason, &r.Site, &r.Topic, &r.Detail, &r.Payload); err != nil {
				return err
			}
			r.Arrived = time.UnixMilli(arrivedMS).UTC()
			refused = append(refused, r)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("list refused messages: %w", err)
	}
	return refused, nil
}

// RefusalCounts returns the counts in alphabetical order of the reasons.
func (s *Store) RefusalCounts(ctx context.Context) ([]store.QuarantineCount, error) {
	var counts []store.QuarantineCount
	err := s.snapshot(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT reason, total,
			(SELECT count(*) FROM refusal WHERE reason = refusal_total.reason) FROM refusal_total ORDER BY reason`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var c store.QuarantineCount
			if err := rows.Scan(&c.Reason, &c.Total, &c.Kept); err != nil {
				return err
			}
			counts = append(counts, c)
		}
		return rows.Err()
	})
	if err != nil {
		return nil, fmt.Errorf("count refused messages: %w", err)
	}
	return counts, nil
}

package journal

import (
	"context"
	"fmt"

	"coldweek/ingest"
	"coldweek/ingest/store"
)

// insertBatch takes the clock's id, count, appended_ms, sites and data.
const insertBatch = `
INSERT INTO batch (id, ordinal, through, count, appended_ms, sites, data)
SELECT max(?1, last.id + 1), last.ordinal + 1, last.through + ?2, ?2, ?3, ?4, ?5
FROM (
  SELECT id, ordinal, through FROM (SELECT id, ordinal, through FROM batch ORDER BY id DESC LIMIT 1)
  UNION ALL SELECT id, ordinal, through FROM state
  ORDER BY id DESC LIMIT 1
) AS last
RETURNING id`

// Append makes the batch durable and returns its id. It is all or nothing: an
// error, a cancelled context or one impossible reading (the error then wraps
// store.ErrReading) leaves the whole batch out. An empty batch does nothing and
// has the id 0.
func (j *Journal) Append(ctx context.Context, batch []ingest.Reading) (id int64, err error) {
	if len(batch) == 0 {
		return 0, nil
	}
	if id, err = j.append(ctx, batch); err != nil {
		return 0, fmt.Errorf("append %d readings to the journal: %w", len(batch), err)
	}
	select {
	case j.appended <- struct{}{}:
	default:
	}
	return id, nil
}

func (j *Journal) append(ctx context.Context, batch []ingest.Reading) (id int64, err error) {
	for i, r := range batch {
		if err := store.CheckReading(r); err != nil {
			return 0, fmt.Errorf("reading %d of %d: %w", i, len(batch), err)
		}
	}
	data, sites := encode(batch)
	err = j.inTurn(ctx, func(ctx context.Context) error {
		if err := j.reserve.take(); err != nil {
			return err
		}
		now := j.options.Now()
		return j.insert.QueryRowContext(ctx, now.UnixMicro(), len(batch), now.UnixMilli(), listSites(sites), data).Scan(&id)
	})
	return id, err
}

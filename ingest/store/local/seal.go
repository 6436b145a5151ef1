package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"coldweek/ingest/store/block"
)

// SealReport says what Seal did.
type SealReport struct {
	Days     int   // blocks written, one a series and UTC day
	Readings int64 // rows that became part of a block
	Left     int   // series-days left as rows, with too many readings for a block
	Bytes    int64 // returned to the disk
}

// sealBatch bounds the rows of a sealing transaction, and so how long an Append
// may have to wait for it: about a tenth of a second. A series counts for
// seekCost rows even if there is nothing to seal.
const (
	sealBatch = 30_000
	seekCost  = 20
)

// Seal packs the readings before a time into blocks, a block for each series
// and UTC day; of a day that goes on after that time only when enough have
// come together (Options.MergeFrom). Appends go on between its transactions;
// cancelled or killed, it leaves some days sealed and the others as they were.
func (s *Store) Seal(ctx context.Context, before time.Time) (SealReport, error) {
	var report SealReport
	next := sealPlace{fromMS: math.MinInt64}
	for !next.done {
		var step SealReport
		err := s.transact(ctx, func(t *transaction) (err error) {
			next, step, err = t.sealSome(ctx, next, ceilMS(before))
			return err
		})
		if err != nil {
			return report, fmt.Errorf("seal readings before %s: %w", before.UTC().Format(time.RFC3339), err)
		}
		report.Days, report.Readings, report.Left = report.Days+step.Days, report.Readings+step.Readings, report.Left+step.Left
	}
	var err error
	if report.Bytes, err = s.shrink(ctx); err != nil {
		return report, fmt.Errorf("return free pages: %w", err)
	}
	if report.Days > 0 || report.Left > 0 {
		s.options.Logger.InfoContext(ctx, "readings sealed", "days", report.Days, "readings", report.Readings,
			"left", report.Left, "freed_bytes", report.Bytes)
	}
	return report, nil
}

// sealPlace is where in the rows, ordered by series and time, sealing goes on.
type sealPlace struct {
	series, fromMS int64
	done           bool
}

// sealSome seals rows from place on that lie before endMS, about sealBatch.
func (t *transaction) sealSome(ctx context.Context, place sealPlace, endMS int64) (sealPlace, SealReport, error) {
	var report SealReport
	for work := 0; work < sealBatch; work += seekCost {
		series, ms, err := t.nextRow(ctx, place)
		if errors.Is(err, sql.ErrNoRows) {
			return sealPlace{done: true}, report, nil
		}
		if err != nil {
			return place, report, err
		}
		if ms >= endMS {
			place = sealPlace{series: series + 1, fromMS: math.MinInt64}
			continue
		}
		day := dayOf(ms)
		rows, packed, err := t.sealDay(ctx, series, day, endMS)
		work += rows
		switch {
		case errors.Is(err, block.ErrTooMany):
			report.Left++
		case err != nil:
			return place, report, err
		case packed:
			t.sealed = true
			report.Days++
			report.Readings += int64(rows)
		}
		place = sealPlace{series: series, fromMS: startOf(day + 1)}
	}
	return place, report, nil
}

// nextRow seeks the first row at or after place.
func (t *transaction) nextRow(ctx context.Context, place sealPlace) (series, ms int64, err error) {
	err = t.QueryRowContext(ctx, "SELECT series, unix_ms FROM fresh WHERE (series, unix_ms) >= (?, ?) ORDER BY series, unix_ms LIMIT 1",
		place.series, place.fromMS).Scan(&series, &ms)
	return series, ms, err
}

// sealDay packs the rows of a series and day before endMS over its block, or
// leaves them for later. It returns how many there are.
func (t *transaction) sealDay(ctx context.Context, series, day, endMS int64) (rows int, packed bool, err error) {
	toMS := min(startOf(day+1), endMS)
	fresh, err := readRows(ctx, t.Tx, series, startOf(day), toMS)
	if err != nil {
		return 0, false, err
	}
	goesOn := toMS < startOf(day+1)
	if goesOn && fresh.len() < t.store.options.MergeFrom {
		return fresh.len(), false, nil
	}
	sealed, err := readBlock(ctx, t.Tx, series, day)
	if err != nil {
		return 0, false, err
	}
	err = t.seal(ctx, series, day, fresh.over(sealed), toMS)
	return fresh.len(), err == nil, err
}

const (
	keptFree   = 4    // one free page for so many in use is kept for the next rows
	vacuumStep = 2000 // pages given back in one transaction
)

// shrink gives pages that will not be needed soon back to the disk.
func (s *Store) shrink(ctx context.Context) (freedBytes int64, err error) {
	for {
		n, err := s.shrinkStep(ctx)
		if freedBytes += n; err != nil || n == 0 {
			return freedBytes, err
		}
	}
}

func (s *Store) shrinkStep(ctx context.Context) (freedBytes int64, err error) {
	err = s.transact(ctx, func(t *transaction) error {
		var pageSize, pages, free int64
		err := t.QueryRowContext(ctx, `SELECT page_size, page_count, freelist_count
			FROM pragma_page_size, pragma_page_count, pragma_freelist_count`).Scan(&pageSize, &pages, &free)
		if err != nil {
			return err
		}
		surplus := min(free-(pages-free)/keptFree, vacuumStep)
		if surplus <= 0 {
			return nil
		}
		freedBytes = surplus * pageSize
		_, err = t.ExecContext(ctx, fmt.Sprintf("PRAGMA incremental_vacuum(%d)", surplus))
		return err
	})
	return freedBytes, err
}

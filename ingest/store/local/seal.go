package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
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

// sealBatch is about how many readings a sealing transaction takes, always whole
// days of a site, and so how long an Append may have to wait for it: a tenth of a
// second and less. A site counts for seekCost readings even if there is nothing
// to seal.
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

// sealPlace is where in the rows, ordered by site and time, sealing goes on.
type sealPlace struct {
	site, fromMS int64
	done         bool
}

// sealSome seals rows from place on that lie before endMS, about sealBatch
// readings.
func (t *transaction) sealSome(ctx context.Context, place sealPlace, endMS int64) (sealPlace, SealReport, error) {
	var report SealReport
	for work := 0; work < sealBatch; work += seekCost {
		site, ms, err := t.nextRow(ctx, place)
		if errors.Is(err, sql.ErrNoRows) {
			return sealPlace{done: true}, report, nil
		}
		if err != nil {
			return place, report, err
		}
		if ms >= endMS {
			place = sealPlace{site: site + 1, fromMS: math.MinInt64}
			continue
		}
		readings, err := t.sealDay(ctx, site, dayOf(ms), endMS, &report)
		if err != nil {
			return place, report, err
		}
		work += readings
		place = sealPlace{site: site, fromMS: startOf(dayOf(ms) + 1)}
	}
	return place, report, nil
}

// nextRow seeks the first row at or after place.
func (t *transaction) nextRow(ctx context.Context, place sealPlace) (site, ms int64, err error) {
	err = t.QueryRowContext(ctx, "SELECT site, unix_ms FROM fresh WHERE (site, unix_ms) >= (?, ?) ORDER BY site, unix_ms LIMIT 1",
		place.site, place.fromMS).Scan(&site, &ms)
	return site, ms, err
}

// sealDay packs what rows of a site and day before endMS hold of each series
// over its block, or leaves it for later. It returns how many readings there
// are.
func (t *transaction) sealDay(ctx context.Context, site, day, endMS int64, report *SealReport) (readings int, err error) {
	toMS := min(startOf(day+1), endMS)
	goesOn := toMS < startOf(day+1)
	rows, err := readAllRows(ctx, t.Tx, site, startOf(day), toMS)
	if err != nil {
		return 0, err
	}
	var packed []int64
	for _, series := range slices.Sorted(maps.Keys(rows)) {
		fresh := rows.of(series)
		readings += fresh.len()
		if goesOn && fresh.len() < t.store.options.MergeFrom {
			continue
		}
		err := t.sealOver(ctx, series, day, fresh)
		if errors.Is(err, block.ErrTooMany) {
			report.Left++
			continue
		}
		if err != nil {
			return 0, err
		}
		packed = append(packed, series)
		report.Days++
		report.Readings += int64(fresh.len())
	}
	if len(packed) == 0 {
		return readings, nil
	}
	t.sealed = true
	if len(packed) == len(rows) {
		return readings, t.dropRows(ctx, site, startOf(day), toMS)
	}
	return readings, t.strip(ctx, site, startOf(day), toMS, packed...)
}

// sealOver makes rows and the block they override one block.
func (t *transaction) sealOver(ctx context.Context, series, day int64, rows points) error {
	sealed, err := readBlock(ctx, t.Tx, series, day)
	if err != nil {
		return err
	}
	return t.seal(ctx, series, day, rows.over(sealed))
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

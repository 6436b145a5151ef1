// Package load brings history from CSV files into the store.
//
// A file has a header row. One column is the time (RFC 3339 or Unix time); every
// other is a channel, either because it is named like one plus its unit
// (flow_temp_c, flow_rate_lph, mode) or because the site record maps it. Blank
// cells, and the words NaN, NA, N/A, null, none and "-", are no reading. Files
// may be compressed with gzip, begin with a byte order mark and with comment
// lines (#), separate by comma, semicolon or tab, and, unless the separator is
// a comma, write decimals with a comma.
//
// Rows need no order, may repeat and overlap: the store keeps one value for each
// channel and time, the last in the file. Loading twice changes nothing.
//
// A header that cannot be understood stops the load before anything is stored:
// a misnamed column is a mistake to mend, not data to lose. A bad row or cell
// never stops it: it goes to quarantine with file, line and column, the first
// hundred of each column one by one and the rest as a count.
//
// Readings go to the store in batches of many rows. Inside a batch they lie
// channel by channel, each in strictly ascending time, which suits a store that
// packs columns. A batch is durable before the next is read, so a load that
// stops can be run again; with a folder for marks it goes on where it stopped.
package load

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// Store is what loading needs of a store.
type Store interface {
	Append(ctx context.Context, batch []ingest.Reading) (changed int64, err error)
	Refuse(ctx context.Context, items []ingest.Rejected) error
	Refusals(ctx context.Context, limit int) ([]store.Refused, error)
}

// Options of a load. Only Now is needed.
type Options struct {
	// Now is the clock that tells which times lie ahead.
	Now func() time.Time

	// Progress, when given, is told after each batch how many bytes of the
	// file, as it lies on disk, are done. The total of a stream is 0.
	Progress func(doneBytes, totalBytes int64)

	// BatchSize is how many rows go to the store at once; 20,000 when 0.
	BatchSize int

	// TimeColumn names the column of times; "time" when "".
	TimeColumn string

	// Ignore names columns to leave out. SkipUnknown leaves out all that are
	// neither a channel nor mapped, with a warning.
	Ignore      []string
	SkipUnknown bool

	// Zone is where the clock of the file ran, for times that give no offset
	// from UTC; without it they are an error. In the hour that comes twice when
	// the clocks go back, the order of the rows tells first from second; a time
	// in the hour left out in spring is refused.
	Zone *time.Location

	// MarkDir is a folder that remembers how far an interrupted load of a file
	// came; "" loads from the beginning.
	MarkDir string
}

// defaultBatchSize is two to three days of 10 s rows: enough for the store to
// pack whole days, little enough memory.
const defaultBatchSize = 20_000

// Result is what a load did, what its interrupted forerunners did included.
type Result struct {
	Rows     int64 // data rows read
	Readings int64 // values handed to the store
	Changed  int64 // of these, new to the store or another value than before
	Rejected int64 // rows and cells refused
	From, To time.Time

	Columns    []ingest.Channel // in the order of the file
	ResumedRow int64            // rows an earlier run had done already
	Warnings   []string
}

// File loads the file at path. On an error the result tells what had been
// stored by then.
func File(ctx context.Context, st Store, record *site.Record, path string, opts Options) (Result, error) {
	f, err := os.Open(path)
	if err != nil {
		return Result{}, fmt.Errorf("load: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Result{}, fmt.Errorf("load: %w", err)
	}
	if info.IsDir() {
		return Result{}, fmt.Errorf("load %q: it is a folder; name the file in it", path)
	}
	l := newLoader(st, record, filepath.Base(path), opts)
	l.total = info.Size()
	if opts.MarkDir != "" {
		if l.mark, err = newMark(opts.MarkDir, record.ID, path, f, info); err != nil {
			return Result{}, fmt.Errorf("load %q: %w", path, err)
		}
	}
	return l.load(ctx, f)
}

// Reader loads a stream, such as standard input, under a name for messages. It
// cannot be resumed.
func Reader(ctx context.Context, st Store, record *site.Record, name string, r io.Reader, opts Options) (Result, error) {
	return newLoader(st, record, name, opts).load(ctx, r)
}

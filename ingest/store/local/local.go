// Package local keeps readings, site days and the quarantine in one SQLite
// file (pure Go driver, write-ahead log, synchronous=FULL).
//
// Fresh readings are rows, one for all that a site has at a millisecond. Seal
// packs them into one compressed block a channel and UTC day (package block), a
// sixth of the size and less and quicker to read. Late readings of what is sealed are
// rows again, which override the block until it is sealed anew; a large late
// batch goes straight into the block. So what Scan returns never depends on
// what has been sealed.
//
// There is one writer at a time and any number of readers, each on the
// snapshot of its beginning. Other processes may use the same file at the same
// time.
package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"runtime"
	"time"

	"coldweek/ingest/store"
	"coldweek/ingest/store/block"
	"coldweek/ingest/store/sqlitefile"
)

var _ store.Store = (*Store)(nil)

// Options of a store; the zero value will do.
type Options struct {
	Now    func() time.Time // time.Now when nil
	Logger *slog.Logger     // silent when nil

	QuarantineLimit int   // messages kept at most; 10,000 when 0
	QuarantineBytes int64 // bytes kept at most; 16 MiB when 0

	// MergeFrom is how many readings of one channel and one past day in one
	// batch go straight into its block; 200 when 0.
	MergeFrom int

	// LockWait is how long to wait for another process that is writing; 5 s
	// when 0.
	LockWait time.Duration

	blockLimit int // readings a block may hold; block.MaxReadings when 0
}

func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.QuarantineLimit == 0 {
		o.QuarantineLimit = 10_000
	}
	if o.QuarantineBytes == 0 {
		o.QuarantineBytes = 16 << 20
	}
	if o.MergeFrom == 0 {
		o.MergeFrom = 200
	}
	if o.LockWait == 0 {
		o.LockWait = 5 * time.Second
	}
	if o.blockLimit == 0 {
		o.blockLimit = block.MaxReadings
	}
	return o
}

// Store is an open file. Its methods may be called from many goroutines.
type Store struct {
	path       string
	options    Options
	write      *sql.DB       // one connection
	turn       chan struct{} // holds one while a write transaction runs
	catalogue  catalogue     // whose turn it is uses it
	statements map[string]*sql.Stmt
	read       *sql.DB
}

// Open opens the file at path, made with mode 0600 when it is not there, and
// brings its tables up to date. The error wraps ErrNewer, ErrForeign, ErrLocked
// or ErrFull where one of those is the reason.
func Open(ctx context.Context, path string, options Options) (*Store, error) {
	s := &Store{path: path, options: options.withDefaults(), turn: make(chan struct{}, 1)}
	if err := s.open(ctx); err != nil {
		s.Close()
		return nil, fmt.Errorf("open store %q: %w", path, sqlitefile.Classify(err))
	}
	return s, nil
}

func (s *Store) open(ctx context.Context) error {
	var migrated sqlitefile.Migrated
	var err error
	if s.write, migrated, err = sqlitefile.OpenWriter(ctx, s.path, kind, s.options.LockWait); err != nil {
		return err
	}
	if migrated.From != migrated.To {
		s.options.Logger.InfoContext(ctx, "store tables brought up to date", "path", s.path, "from", migrated.From, "to", migrated.To)
	}
	readers := max(4, 2*runtime.GOMAXPROCS(0))
	if s.read, err = sqlitefile.OpenReader(s.path, s.options.LockWait, readers); err != nil {
		return err
	}
	return s.prepare(ctx)
}

// Close waits for the write transaction that is running and closes the file.
func (s *Store) Close() error {
	s.turn <- struct{}{}
	defer func() { <-s.turn }()
	var errs []error
	for _, statement := range s.statements {
		errs = append(errs, statement.Close())
	}
	for _, db := range []*sql.DB{s.read, s.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close store %q: %w", s.path, sqlitefile.Classify(err))
	}
	return nil
}

// transact runs do in a write transaction; an error or a cancelled context
// leaves everything as it was.
func (s *Store) transact(ctx context.Context, do func(*transaction) error) error {
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	defer tx.Rollback() // after Commit this does nothing
	t := &transaction{Tx: tx, store: s}
	if err := t.begin(ctx); err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	if err := do(t); err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	if err := tx.Commit(); err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	maps.Copy(t.known, t.learned)
	if t.sealed {
		s.catalogue.forget()
	}
	return nil
}

// snapshot runs do in a read transaction.
func (s *Store) snapshot(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return sqlitefile.Explain(ctx, err)
	}
	defer tx.Rollback()
	return sqlitefile.Explain(ctx, do(tx))
}

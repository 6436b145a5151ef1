// Package journal keeps batches of readings in one SQLite file until they have
// been forwarded to a database elsewhere: durable when Append returns, handed
// out in the order they came, forgotten when the forwarder says so.
//
// Other processes may use the same file at the same time: each may append, and
// each sees what waits of all.
package journal

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/store/sqlitefile"
)

// Why a journal cannot be opened, written or read.
var (
	ErrNewer   = sqlitefile.ErrNewer
	ErrForeign = sqlitefile.ErrForeign
	ErrLocked  = sqlitefile.ErrLocked
	ErrFull    = sqlitefile.ErrFull
	ErrDamaged = sqlitefile.ErrDamaged
)

//go:embed migration/*.sql
var migrations embed.FS

var kind = sqlitefile.Kind{
	ApplicationID: 0x63776a6e, // as in migration/0001
	Migrations:    migrations,
	LogPages:      logPages,
}

// Options of a journal; the zero value will do.
type Options struct {
	Now    func() time.Time // time.Now when nil
	Logger *slog.Logger     // silent when nil

	// LockWait is how long to wait for another process that is writing; 5 s
	// when 0.
	LockWait time.Duration
}

func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.LockWait == 0 {
		o.LockWait = 5 * time.Second
	}
	return o
}

// Journal is an open file. Its methods may be called from many goroutines.
type Journal struct {
	path     string
	options  Options
	writer   string
	write    *sql.DB       // one connection
	turn     chan struct{} // holds one while something is written
	reserve  reserve
	insert   *sql.Stmt
	read     *sql.DB
	appended chan struct{}
}

// Batch is what one Append was given. Its id is greater than that of every
// batch appended before, by whichever process, and about the microseconds since
// 1970 when it was appended.
type Batch struct {
	ID       int64
	Readings []ingest.Reading // times to the millisecond, in UTC
}

const readers = 4

// Open opens the file at path, made with mode 0600 when it is not there. The
// error wraps ErrNewer, ErrForeign, ErrLocked, ErrFull or ErrDamaged where one
// of those is the reason.
func Open(ctx context.Context, path string, options Options) (*Journal, error) {
	j := &Journal{
		path: path, options: options.withDefaults(), reserve: reserve{path + ".reserve"},
		turn: make(chan struct{}, 1), appended: make(chan struct{}, 1),
	}
	if err := j.open(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open journal %q: %w", path, sqlitefile.Classify(err)), j.Close())
	}
	return j, nil
}

func (j *Journal) open(ctx context.Context) (err error) {
	err = j.reserve.whenFull(func() (err error) {
		j.write, _, err = sqlitefile.OpenWriter(ctx, j.path, kind, j.options.LockWait)
		return err
	})
	if err != nil {
		return err
	}
	if j.read, err = sqlitefile.OpenReader(j.path, j.options.LockWait, readers); err != nil {
		return err
	}
	if err := j.read.QueryRowContext(ctx, "SELECT writer FROM state").Scan(&j.writer); err != nil {
		return err
	}
	j.insert, err = j.write.PrepareContext(ctx, insertBatch)
	return err
}

// Path returns where the file is.
func (j *Journal) Path() string { return j.path }

// Writer returns a name drawn at random when the file was made: another file,
// another writer.
func (j *Journal) Writer() string { return j.writer }

// Appended receives after appends of this process, once for many of them when
// nobody listens.
func (j *Journal) Appended() <-chan struct{} { return j.appended }

// Close waits for what is being written and closes the file.
func (j *Journal) Close() error {
	j.turn <- struct{}{}
	defer func() { <-j.turn }()
	var errs []error
	if j.insert != nil {
		errs = append(errs, j.insert.Close())
	}
	for _, db := range []*sql.DB{j.read, j.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close journal %q: %w", j.path, sqlitefile.Classify(err))
	}
	return nil
}

// inTurn runs do while nothing else of this process writes. Once begun it is
// not cancelled, so that an error says that nothing was done; it waits LockWait
// at most.
func (j *Journal) inTurn(ctx context.Context, do func(context.Context) error) error {
	select {
	case j.turn <- struct{}{}:
		defer func() { <-j.turn }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return sqlitefile.Classify(do(context.WithoutCancel(ctx)))
}

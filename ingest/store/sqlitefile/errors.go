package sqlitefile

import (
	"context"
	"errors"
	"fmt"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// Why a file cannot be opened or written.
var (
	ErrNewer   = errors.New("the file was written by a newer version of this program; install that version or restore a backup")
	ErrForeign = errors.New("the file is no coldweek store; name another path")
	ErrLocked  = errors.New("another process is writing to the file; stop it or try again")
	ErrFull    = errors.New("the disk is full; free some space, nothing already stored is lost")
	ErrDamaged = errors.New("the file is damaged; restore a backup")
)

// reasons are by SQLite's result code, extended codes before primary ones.
var reasons = map[int]error{
	lib.SQLITE_IOERR_SHMSIZE: ErrFull, // the log's index could not grow
	lib.SQLITE_FULL:          ErrFull,
	lib.SQLITE_BUSY:          ErrLocked,
	lib.SQLITE_LOCKED:        ErrLocked,
	lib.SQLITE_NOTADB:        ErrForeign,
	lib.SQLITE_CORRUPT:       ErrDamaged,
}

// Classify wraps what SQLite says in the error an operator can act on.
func Classify(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return err
	}
	for _, code := range []int{e.Code(), e.Code() & 0xff} {
		if reason := reasons[code]; reason != nil && !errors.Is(err, reason) {
			return fmt.Errorf("%w: %w", reason, err)
		}
	}
	return err
}

// Explain wraps the reason an error has: that of SQLite's code, or that the
// context was done, after which database/sql may say only that the transaction
// is.
func Explain(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil && !errors.Is(err, ctx.Err()) {
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	}
	return Classify(err)
}

package local

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// Why a store cannot be opened or written.
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

// classify wraps what SQLite says in the error an operator can act on.
func classify(err error) error {
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

// touch makes the file readable by its owner only, when it is not there;
// SQLite gives its log the same mode. It says whether the file is empty.
func touch(path string) (empty bool, err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return false, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return false, err
	}
	return info.Size() == 0, nil
}

// sourceName returns SQLite's URI of a file, whatever characters its path has.
func sourceName(path string, parameters url.Values) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: parameters.Encode()}
	return u.String()
}

// writerDSN sets what an empty file is made with too: to set it again would
// write, which a full disk does not allow.
func writerDSN(path string, lockWait time.Duration, empty bool) string {
	parameters := url.Values{
		"_busy_timeout": {strconv.FormatInt(lockWait.Milliseconds(), 10)},
		"_pragma":       {"journal_size_limit(67108864)", "cache_size(-65536)", "temp_store(MEMORY)", "wal_autocheckpoint(4000)"},
		"_journal_mode": {"WAL"},
		"_synchronous":  {"FULL"},
		"_foreign_keys": {"on"},
		"_txlock":       {"immediate"},
	}
	if empty {
		parameters.Set("_auto_vacuum", "incremental")
	}
	return sourceName(path, parameters)
}

func readerDSN(path string, lockWait time.Duration) string {
	return sourceName(path, url.Values{
		"_busy_timeout": {strconv.FormatInt(lockWait.Milliseconds(), 10)},
		"_query_only":   {"on"},
	})
}

//go:embed migration/*.sql
var migrations embed.FS

const applicationID = 0x636f6c64 // as in migration/0001

// migrate runs the migrations the file has not seen; its user_version counts
// those it has.
func (s *Store) migrate(ctx context.Context) error {
	files, err := fs.Glob(migrations, "migration/*.sql") // in alphabetical order
	if err != nil {
		return err
	}
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	seen, err := versionOf(ctx, tx)
	if err != nil {
		return err
	}
	if seen > len(files) {
		return fmt.Errorf("version %d, this program knows %d: %w", seen, len(files), ErrNewer)
	}
	if seen == len(files) {
		return nil
	}
	for _, name := range files[seen:] {
		if err := runMigration(ctx, tx, name); err != nil {
			return fmt.Errorf("run %s: %w", name, err)
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", len(files))); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	s.options.Logger.InfoContext(ctx, "store tables brought up to date", "path", s.path, "from", seen, "to", len(files))
	return nil
}

func runMigration(ctx context.Context, tx *sql.Tx, name string) error {
	text, err := migrations.ReadFile(name)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, string(text))
	return err
}

// versionOf returns the file's user_version, or ErrForeign for a database that
// is not ours.
func versionOf(ctx context.Context, tx *sql.Tx) (int, error) {
	var version, application, tables int
	for query, value := range map[string]*int{
		"PRAGMA user_version":                &version,
		"PRAGMA application_id":              &application,
		"SELECT count(*) FROM sqlite_schema": &tables,
	} {
		if err := tx.QueryRowContext(ctx, query).Scan(value); err != nil {
			return 0, err
		}
	}
	if tables > 0 && application != applicationID {
		return 0, ErrForeign
	}
	return version, nil
}

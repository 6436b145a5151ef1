// Package sqlitefile opens SQLite files the way every durable file of coldweek
// is kept (pure Go driver, write-ahead log, synchronous=FULL, pages given back
// on demand), knows its own files from others, brings their tables up to date,
// and says what is wrong in words an operator can act on.
package sqlitefile

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"time"
)

// Kind is what a file is for.
type Kind struct {
	ApplicationID int   // set by the first migration, so that other files are not taken for ours
	Migrations    fs.FS // holds migration/*.sql, run in alphabetical order
	LogPages      int   // the log goes into the file when it is that long

	// After runs after the migration of that file name, in its transaction:
	// what SQL cannot say. May be nil.
	After map[string]func(context.Context, *sql.Tx) error
}

// Migrated are the versions of a file's tables before and after it was opened.
type Migrated struct{ From, To int }

// OpenWriter opens the file at path for one connection that writes, made with
// mode 0600 when it is not there, and brings its tables up to date. Its
// transactions take the write lock at their beginning; lockWait is how long
// they wait for another process. The error wraps ErrNewer, ErrForeign, ErrLocked,
// ErrFull or ErrDamaged where one of those is the reason.
func OpenWriter(ctx context.Context, path string, kind Kind, lockWait time.Duration) (*sql.DB, Migrated, error) {
	empty, err := touch(path)
	if err != nil {
		return nil, Migrated{}, err
	}
	db, err := sql.Open("sqlite", kind.writerDSN(path, lockWait, empty))
	if err != nil {
		return nil, Migrated{}, err
	}
	db.SetMaxOpenConns(1)
	migrated, err := kind.migrate(ctx, db)
	if err != nil {
		return nil, migrated, errors.Join(Classify(err), db.Close())
	}
	return db, migrated, nil
}

// OpenReader opens a file that OpenWriter has made, for up to so many
// connections that only read.
func OpenReader(path string, lockWait time.Duration, connections int) (*sql.DB, error) {
	db, err := sql.Open("sqlite", readerDSN(path, lockWait))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
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

// SourceName returns SQLite's URI of a file, whatever characters its path has.
func SourceName(path string, parameters url.Values) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: parameters.Encode()}
	return u.String()
}

// writerDSN sets what an empty file is made with too: to set it again would
// write, which a full disk does not allow.
func (k Kind) writerDSN(path string, lockWait time.Duration, empty bool) string {
	parameters := url.Values{
		"_busy_timeout": {strconv.FormatInt(lockWait.Milliseconds(), 10)},
		"_pragma":       {"journal_size_limit(67108864)", "cache_size(-65536)", "temp_store(MEMORY)", fmt.Sprintf("wal_autocheckpoint(%d)", k.LogPages)},
		"_journal_mode": {"WAL"},
		"_synchronous":  {"FULL"},
		"_foreign_keys": {"on"},
		"_txlock":       {"immediate"},
	}
	if empty {
		parameters.Set("_auto_vacuum", "incremental")
	}
	return SourceName(path, parameters)
}

func readerDSN(path string, lockWait time.Duration) string {
	return SourceName(path, url.Values{
		"_busy_timeout": {strconv.FormatInt(lockWait.Milliseconds(), 10)},
		"_query_only":   {"on"},
		"_pragma":       {"cache_size(-8192)"}, // KiB: a list of plants reads more than SQLite's 2 MiB again and again
	})
}

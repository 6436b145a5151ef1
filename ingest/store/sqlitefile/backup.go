package sqlitefile

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"modernc.org/sqlite"
)

// BackupOptions of one backup; the zero value will do.
type BackupOptions struct {
	Overwrite bool                              // an existing file is an error without it
	Progress  func(doneBytes, totalBytes int64) // called between steps
}

// backupStep is how many pages are copied between two looks at the context.
const backupStep = 256

// Backup copies the file at path, while it is in use, to the file dest: all that
// was written before the call and nothing half done. The copy is checked before it
// takes its name, so dest is either sound or what it was before. To restore, put
// the copy in the file's place while nothing has that open.
func Backup(ctx context.Context, path, dest string, options BackupOptions) error {
	db, err := OpenReader(path, backupWait, 1)
	if err != nil {
		return fmt.Errorf("back up %q: %w", path, err)
	}
	return errors.Join(BackupFrom(ctx, db, path, dest, options), db.Close())
}

// backupWait is how long a backup waits for one who writes.
const backupWait = 5 * time.Second

// BackupFrom does what Backup does over connections that are open already.
func BackupFrom(ctx context.Context, db *sql.DB, path, dest string, options BackupOptions) error {
	if err := backup(ctx, db, path, dest, options); err != nil {
		return fmt.Errorf("back up %q to %q: %w", path, dest, Classify(err))
	}
	return nil
}

func backup(ctx context.Context, db *sql.DB, path, dest string, options BackupOptions) error {
	if err := mayReplace(path, dest, options.Overwrite); err != nil {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(dest), filepath.Base(dest)+".*.part") // mode 0600
	if err != nil {
		return err
	}
	defer part.Close()
	defer removeFile(part.Name())
	if err := copyTo(ctx, db, part.Name(), options.Progress); err != nil {
		return err
	}
	if err := checkCopy(ctx, part.Name()); err != nil {
		return fmt.Errorf("check the copy: %w", err)
	}
	if err := part.Sync(); err != nil {
		return err
	}
	if err := mayReplace(path, dest, options.Overwrite); err != nil {
		return err
	}
	if err := os.Rename(part.Name(), dest); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(dest))
}

// mayReplace says why dest must stay. A log beside it would be played into the
// copy.
func mayReplace(path, dest string, overwrite bool) error {
	there, err := os.Stat(dest)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	exists := err == nil
	if own, err := os.Stat(path); exists && err == nil && os.SameFile(own, there) {
		return errors.New("that is the file itself")
	}
	if _, err := os.Stat(dest + "-wal"); err == nil {
		return fmt.Errorf("%q lies beside it, so it is a file in use; name another file", dest+"-wal")
	}
	if exists && !overwrite {
		return fmt.Errorf("%w; name another file or ask to overwrite it", fs.ErrExist)
	}
	return nil
}

// copyTo copies a snapshot: the read transaction keeps appends meanwhile from
// starting the copy again.
func copyTo(ctx context.Context, db *sql.DB, path string, progress func(done, total int64)) error {
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	tx, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var pageSize int64
	if err := tx.QueryRowContext(ctx, "SELECT page_size FROM pragma_page_size, (SELECT count(*) FROM sqlite_schema)").Scan(&pageSize); err != nil {
		return err
	}
	return conn.Raw(func(driver any) error {
		backup, err := driver.(backuper).NewBackup(SourceName(path, nil))
		if err != nil {
			return err
		}
		return errors.Join(steps(ctx, backup, pageSize, progress), backup.Finish())
	})
}

// backuper is the driver's connection.
type backuper interface {
	NewBackup(destination string) (*sqlite.Backup, error)
}

func steps(ctx context.Context, backup *sqlite.Backup, pageSize int64, progress func(done, total int64)) error {
	for more := true; more; {
		var err error
		if more, err = backup.Step(backupStep); err != nil {
			return err
		}
		if progress != nil {
			total := int64(backup.PageCount())
			progress((total-int64(backup.Remaining()))*pageSize, total*pageSize)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// checkCopy checks a copy and makes one file of it.
func checkCopy(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", SourceName(path, nil))
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var answer string
	if err := db.QueryRowContext(ctx, "PRAGMA journal_mode = DELETE").Scan(&answer); err != nil {
		return err
	}
	if err := db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&answer); err != nil {
		return err
	}
	if answer != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, answer)
	}
	return db.Close()
}

// removeFile removes a file and what SQLite puts beside it.
func removeFile(path string) {
	for _, suffix := range []string{"", "-journal", "-wal", "-shm"} {
		os.Remove(path + suffix)
	}
}

// syncFolder makes a renamed file's name durable.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	defer folder.Close()
	return folder.Sync()
}

package local

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"modernc.org/sqlite"

	"coldweek/ingest/store/sqlitefile"
)

// BackupOptions of one backup; the zero value will do.
type BackupOptions struct {
	Overwrite bool                              // an existing file is an error without it
	Progress  func(doneBytes, totalBytes int64) // called between steps
}

// backupStep is how many pages are copied between two looks at the context.
const backupStep = 256

// Backup copies the store, while it is in use, to the file dest: everything
// appended before the call and nothing half done. The copy is checked before it
// takes its name, so dest is either a sound store or what it was before. To
// restore, put the copy in the place of the store's file while nothing has it
// open.
func (s *Store) Backup(ctx context.Context, dest string, options BackupOptions) error {
	if err := s.backup(ctx, dest, options); err != nil {
		return fmt.Errorf("back up store %q to %q: %w", s.path, dest, sqlitefile.Classify(err))
	}
	return nil
}

func (s *Store) backup(ctx context.Context, dest string, options BackupOptions) error {
	if err := s.mayReplace(dest, options.Overwrite); err != nil {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(dest), filepath.Base(dest)+".*.part") // mode 0600
	if err != nil {
		return err
	}
	defer part.Close()
	defer removeStore(part.Name())
	if err := s.copyTo(ctx, part.Name(), options.Progress); err != nil {
		return err
	}
	if err := checkCopy(ctx, part.Name()); err != nil {
		return fmt.Errorf("check the copy: %w", err)
	}
	if err := part.Sync(); err != nil {
		return err
	}
	if err := s.mayReplace(dest, options.Overwrite); err != nil {
		return err
	}
	if err := os.Rename(part.Name(), dest); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(dest))
}

// mayReplace says why dest must stay. A log beside it would be played into the
// copy.
func (s *Store) mayReplace(dest string, overwrite bool) error {
	there, err := os.Stat(dest)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	exists := err == nil
	if own, err := os.Stat(s.path); exists && err == nil && os.SameFile(own, there) {
		return errors.New("that is the store itself")
	}
	if _, err := os.Stat(dest + "-wal"); err == nil {
		return fmt.Errorf("%q lies beside it, so it is a store in use; name another file", dest+"-wal")
	}
	if exists && !overwrite {
		return fmt.Errorf("%w; name another file or ask to overwrite it", fs.ErrExist)
	}
	return nil
}

// copyTo copies a snapshot: the read transaction keeps appends meanwhile from
// starting the copy again.
func (s *Store) copyTo(ctx context.Context, path string, progress func(done, total int64)) error {
	conn, err := s.read.Conn(ctx)
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
	if err := tx.QueryRowContext(ctx, "SELECT page_size FROM pragma_page_size, (SELECT count(*) FROM site)").Scan(&pageSize); err != nil {
		return err
	}
	return conn.Raw(func(driver any) error {
		backup, err := driver.(backuper).NewBackup(sqlitefile.SourceName(path, nil))
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
	db, err := sql.Open("sqlite", sqlitefile.SourceName(path, nil))
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

// removeStore removes a file and what SQLite puts beside it.
func removeStore(path string) {
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

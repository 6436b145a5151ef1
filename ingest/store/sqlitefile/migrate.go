package sqlitefile

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"path"
)

// migrate runs the migrations the file has not seen; its user_version counts
// those it has.
func (k Kind) migrate(ctx context.Context, db *sql.DB) (Migrated, error) {
	files, err := fs.Glob(k.Migrations, "migration/*.sql") // in alphabetical order
	if err != nil {
		return Migrated{}, err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return Migrated{}, err
	}
	defer tx.Rollback()
	seen, err := k.versionOf(ctx, tx)
	if err != nil {
		return Migrated{}, err
	}
	if seen > len(files) {
		return Migrated{}, fmt.Errorf("version %d, this program knows %d: %w", seen, len(files), ErrNewer)
	}
	migrated := Migrated{From: seen, To: len(files)}
	if seen == len(files) {
		return migrated, nil
	}
	for _, name := range files[seen:] {
		if err := k.run(ctx, tx, name); err != nil {
			return Migrated{}, fmt.Errorf("run %s: %w", name, err)
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA user_version = %d", len(files))); err != nil {
		return Migrated{}, err
	}
	return migrated, tx.Commit()
}

func (k Kind) run(ctx context.Context, tx *sql.Tx, name string) error {
	text, err := fs.ReadFile(k.Migrations, name)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, string(text)); err != nil {
		return err
	}
	if after := k.After[path.Base(name)]; after != nil {
		return after(ctx, tx)
	}
	return nil
}

// versionOf returns the file's user_version, or ErrForeign for a database that
// is not ours.
func (k Kind) versionOf(ctx context.Context, tx *sql.Tx) (int, error) {
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
	if tables > 0 && application != k.ApplicationID {
		return 0, ErrForeign
	}
	return version, nil
}

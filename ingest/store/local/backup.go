package local

import (
	"context"

	"coldweek/ingest/store/sqlitefile"
)

// Backup copies the store, while it is in use, to the file dest: everything
// appended before the call and nothing half done; see sqlitefile.Backup.
func (s *Store) Backup(ctx context.Context, dest string, options sqlitefile.BackupOptions) error {
	return sqlitefile.BackupFrom(ctx, s.read, s.path, dest, options)
}

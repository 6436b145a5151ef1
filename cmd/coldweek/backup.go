package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"coldweek/ingest/store/sqlitefile"
)

func newBackup(a *app) *cobra.Command {
	var overwrite bool
	c := &cobra.Command{
		Use:   "backup FOLDER",
		Short: "Copy what is kept to a folder while everything runs",
		Long: `Copy all readings, days, findings and the quarantine, what engineers are still
to be told, and what waits to be sent to InfluxDB, to a folder, while serve goes
on. Each copy is checked before it takes its name. To restore, stop serve and put
the folder's files in the place of those in data/. The rest is plain files, to be
copied too: coldweek.yaml with the secrets that it names, site records, logins.yaml,
users.yaml, issued notes (data/notes), and what homeowners' links are signed by
(data/links.*).`,
		Example: "  coldweek backup /backup/coldweek-2026-01-31\n  coldweek backup /backup/coldweek --overwrite",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withHome(c.Context(), func(h home, st *stores) error { return a.backUp(c.Context(), h, st, given[0], overwrite) })
		},
	}
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace what an earlier backup left in FOLDER")
	return c
}

// backUp copies the readings and findings first: an outbox that knows of more than
// they do tells nothing twice.
func (a *app) backUp(ctx context.Context, h home, st *stores, folder string, overwrite bool) error {
	if info, err := os.Stat(folder); err == nil && !info.IsDir() {
		return usagef("%q is a file; name a folder, which is made if it is not there", folder)
	}
	if err := os.MkdirAll(folder, 0o750); err != nil {
		return fmt.Errorf("make backup folder: %w", err)
	}
	bar := a.progress("bytes", progressbar.OptionShowBytes(true))
	defer bar.done()
	options := sqlitefile.BackupOptions{Overwrite: overwrite, Progress: bar.set}
	dest := func(path string) string { return filepath.Join(folder, filepath.Base(path)) }
	if err := st.file.Backup(ctx, dest(h.storePath()), options); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s written and checked\n", dest(h.storePath()))
	for _, path := range []string{h.journalPath(), h.outboxPath()} {
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err := sqlitefile.Backup(ctx, path, dest(path), options); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s written and checked\n", dest(path))
	}
	return nil
}

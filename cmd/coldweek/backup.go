package main

import (
	"fmt"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"coldweek/ingest/store/local"
)

func newBackup(a *app) *cobra.Command {
	var overwrite bool
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the store to a file while everything runs",
		Long: `Copy all readings, days and the quarantine to one file, while serve goes on.
The copy is checked before it takes its name. Site records and coldweek.yaml are
plain files: copy them too.`,
		Example: "  coldweek backup /backup/coldweek-2026-01-31.sqlite",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withHome(c.Context(), func(_ home, st *stores) error {
				bar := a.progress("bytes", progressbar.OptionShowBytes(true))
				defer bar.done()
				if err := st.file.Backup(c.Context(), given[0], local.BackupOptions{Overwrite: overwrite, Progress: bar.set}); err != nil {
					return err
				}
				fmt.Fprintf(a.out, "%s written and checked\n", given[0])
				return nil
			})
		},
	}
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace FILE if it exists")
	return c
}

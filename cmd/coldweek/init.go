package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"coldweek/ingest/site"
)

func newInit(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "init [DIR]",
		Short: "Make the folder of a deployment",
		Long: `Make coldweek.yaml, sites/, data/ and site.schema.json, the JSON Schema by
which an editor completes and checks site records. Files that are there stay as
they are, but for the schema, which is written anew.`,
		Example: "  coldweek init ./coldweek-home",
		Args:    args(cobra.MaximumNArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			dir := a.homeDir
			if len(given) == 1 {
				dir = given[0]
			}
			h := home{dir}
			if err := h.make(); err != nil {
				return err
			}
			fmt.Fprintf(a.out, `%s is ready. Next:
  coldweek site new mill-cottage --zone Europe/London --home %[1]s
  coldweek serve --home %[1]s
`, dir)
			return nil
		},
	}
}

// make creates what is missing of a home.
func (h home) make() error {
	for _, dir := range []string{h.sitesDir(), h.dataDir()} {
		if err := os.MkdirAll(dir, 0o750); err != nil {
			return fmt.Errorf("make home: %w", err)
		}
	}
	if err := writeNew(h.configPath(), []byte(starterConfig)); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	schema, err := site.Schema()
	if err != nil {
		return fmt.Errorf("generate schema: %w", err)
	}
	if err := os.WriteFile(h.schemaPath(), schema, 0o640); err != nil {
		return fmt.Errorf("write schema: %w", err)
	}
	return nil
}

// writeNew writes a file that must not exist yet.
func writeNew(path string, content []byte) (err error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	_, err = file.Write(content)
	return err
}

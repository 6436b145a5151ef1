package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coldweek/ingest/broker"
	"coldweek/ingest/site"
)

func newSite(a *app) *cobra.Command {
	c := group(&cobra.Command{Use: "site", Short: "Make, check and look at site records"})
	c.AddCommand(newSiteNew(a), newSiteCheck(a), newSiteLogin(a), newSiteSchema(a))
	return c
}

func newSiteNew(a *app) *cobra.Command {
	var zone string
	c := &cobra.Command{
		Use:     "new SITE",
		Short:   "Write a starter record with every section explained",
		Example: "  coldweek site new mill-cottage --zone Europe/London",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			text := site.Template(given[0], zone)
			if _, err := site.Parse(h.sitePath(given[0]), text); err != nil {
				return usageError{err}
			}
			if err := writeNew(h.sitePath(given[0]), text); errors.Is(err, fs.ErrExist) {
				return usagef("%s exists already; edit it", h.sitePath(given[0]))
			} else if err != nil {
				return fmt.Errorf("write record: %w", err)
			}
			fmt.Fprintf(a.out, "%s written. Fill in what you know, then: coldweek site check %s --home %s\n", h.sitePath(given[0]), given[0], h.dir)
			return nil
		},
	}
	c.Flags().StringVar(&zone, "zone", "Europe/London", "IANA time zone of the house")
	return c
}

func newSiteCheck(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check [SITE|FILE]...",
		Short: "Check site records and say what is missing for which answers",
		Long: `Check records: mistakes with file, line and field and what would be right,
then what is missing and which answers stay "not known" for it. Without a name,
all records of the home are checked. Exits 1 when a record has a mistake.`,
		Example: "  coldweek site check mill-cottage\n  coldweek site check ./draft.yaml",
		RunE: func(_ *cobra.Command, given []string) error {
			files, err := a.recordFiles(given)
			if err != nil {
				return err
			}
			problems, ok := checkRecords(files)
			if asJSON {
				if err := writeJSON(a.out, problems); err != nil {
					return err
				}
			} else {
				writeProblems(a.out, files, problems)
			}
			if !ok {
				return errReported
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// recordFiles turns names of sites or files into paths.
func (a *app) recordFiles(given []string) ([]string, error) {
	if len(given) > 0 && !slices.ContainsFunc(given, func(name string) bool { return !isPath(name) }) {
		return given, nil // files need no home
	}
	h, err := a.openHome()
	if err != nil {
		return nil, err
	}
	if len(given) == 0 {
		files, err := filepath.Glob(filepath.Join(h.sitesDir(), "*.yaml"))
		if err == nil && len(files) == 0 {
			err = usagef("%s has no site records; make one with: coldweek site new SITE", h.sitesDir())
		}
		return files, err
	}
	files := make([]string, len(given))
	for i, name := range given {
		files[i] = name
		if !isPath(name) {
			files[i] = h.sitePath(name)
		}
	}
	return files, nil
}

func isPath(name string) bool {
	return strings.HasSuffix(name, ".yaml") || strings.HasSuffix(name, ".yml") || strings.ContainsRune(name, filepath.Separator)
}

// checkRecords returns every mistake and remark; ok is false for a mistake.
func checkRecords(files []string) (problems []site.Problem, ok bool) {
	ok = true
	problems = []site.Problem{}
	for _, file := range files {
		record, err := site.Load(file)
		var found site.Problems
		switch {
		case errors.As(err, &found):
			problems = append(problems, found...)
		case err != nil:
			problems = append(problems, site.Problem{File: file, Message: err.Error()})
		}
		if err != nil {
			ok = false
			continue
		}
		problems = append(problems, site.Check(record)...)
	}
	return problems, ok
}

func writeProblems(out io.Writer, files []string, problems []site.Problem) {
	mistakes := 0
	for _, p := range problems {
		if !p.Warning {
			mistakes++
		}
		fmt.Fprintln(out, p)
	}
	fmt.Fprintf(out, "%d record(s), %d mistake(s), %d remark(s)\n", len(files), mistakes, len(problems)-mistakes)
}

func newSiteLogin(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "login SITE",
		Short: "Give a site a new password for the embedded broker",
		Long: `Make a new password for the site's login to the embedded broker and print it
once. Only a hash of it is kept, in logins.yaml. An earlier password stops
working.`,
		Example: "  coldweek site login mill-cottage",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(_ *cobra.Command, given []string) error {
			h, err := a.openHome()
			if err != nil {
				return err
			}
			if _, err := h.record(given[0]); err != nil {
				return err
			}
			password := rand.Text()
			logins, err := broker.ReadLogins(h.loginsPath())
			if err != nil {
				return err
			}
			if err := logins.Set(given[0], password); err != nil {
				return err
			}
			fmt.Fprintf(a.out, "user %s\npassword %s\n", given[0], password)
			return nil
		},
	}
}

func newSiteSchema(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "schema",
		Short:   "Print the JSON Schema of the site record",
		Example: "  coldweek site schema > site.schema.json",
		Args:    args(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			schema, err := site.Schema()
			if err != nil {
				return fmt.Errorf("generate schema: %w", err)
			}
			_, err = a.out.Write(schema)
			return err
		},
	}
}

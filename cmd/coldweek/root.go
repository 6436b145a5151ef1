package main

import (
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/spf13/cobra"

	"coldweek/ingest"
)

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// usageError is a mistake in the command line.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// errReported ends a command whose findings are already printed.
var errReported = errors.New("problems were found")

// app is what all commands share.
type app struct {
	streams
	homeDir string
	verbose bool
}

func newRoot(io streams) *cobra.Command {
	a := &app{streams: io}
	root := &cobra.Command{
		Use:   "coldweek",
		Short: "Watch heat pumps after they are installed",
		Long: `coldweek takes in what heat pumps report over MQTT or in files, keeps it, and
says what heat was delivered, what electricity it took and how the plant ran.

One folder, --home, holds one deployment: coldweek.yaml, sites/, data/.`,
		Example: `  coldweek demo
  coldweek init ./coldweek-home
  coldweek serve --home ./coldweek-home
  coldweek analyse mill-cottage --from 2026-01-01 --to 2026-02-01`,
		SilenceErrors: true, SilenceUsage: true,
	}
	group(root)
	root.SetIn(io.in)
	root.SetOut(io.out)
	root.SetErr(io.err)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usagef("%w; see %s --help", err, c.CommandPath())
	})
	root.PersistentFlags().StringVar(&a.homeDir, "home", "./coldweek-home", "folder that holds this deployment")
	root.PersistentFlags().BoolVarP(&a.verbose, "verbose", "v", false, "log more")
	root.AddCommand(
		newInit(a), newSite(a), newServe(a), newHealth(a), newLoad(a), newDesign(a), newAnalyse(a), newReview(a), newSeason(a), newNote(a), newExport(a),
		newFindings(a), newAcknowledge(a), newMute(a), newWatch(a),
		newUser(a), newLink(a), newBackup(a), newQuarantine(a), newNotify(a), newRig(a), newDemo(a),
	)
	return root
}

// group makes a command that only holds others: alone it shows its help, and a
// wrong name gets the nearest.
func group(c *cobra.Command) *cobra.Command {
	c.RunE = func(c *cobra.Command, _ []string) error { return c.Help() }
	c.Args = func(c *cobra.Command, given []string) error {
		if len(given) == 0 {
			return nil
		}
		var names []string
		for _, sub := range c.Commands() {
			names = append(names, sub.Name())
		}
		return usagef("%s has no command %q; did you mean %q?", c.CommandPath(), given[0], ingest.Nearest(given[0], names))
	}
	return c
}

// args wraps cobra's checks so that a wrong count, or flags that exclude each
// other, are a usage error.
func args(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(c *cobra.Command, given []string) error {
		if err := c.ValidateFlagGroups(); err != nil {
			return usagef("%w; see %s --help", err, c.CommandPath())
		}
		if err := check(c, given); err != nil {
			return usagef("%w; usage: %s", err, c.UseLine())
		}
		return nil
	}
}

// logger writes to standard error.
func (a *app) logger() *slog.Logger { return a.logFrom(slog.LevelInfo) }

// quietLogger keeps routine off the terminal of commands that print results.
func (a *app) quietLogger() *slog.Logger { return a.logFrom(slog.LevelWarn) }

func (a *app) logFrom(level slog.Level) *slog.Logger {
	if a.verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: level}))
}

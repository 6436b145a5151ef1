package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coldweek/dashboards/notify"
	"coldweek/ingest"
	"coldweek/ingest/store"
)

func newNotify(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "notify",
		Short: "Try how engineers are told of findings, and see what waits",
		Long: `Engineers are told of findings by e-mail, at a webhook or on an MQTT topic, as
coldweek.yaml says under notify: of what is urgent at once, of what asks for
attention in a digest, one message a day. What is to be told is kept on disk
until it was sent.`,
		Example: "  coldweek notify test --engineer Ada\n  coldweek notify pending",
	}
	group(c)
	c.AddCommand(newNotifyTest(a), newNotifyPending(a))
	return c
}

func newNotifyTest(a *app) *cobra.Command {
	var engineer string
	c := &cobra.Command{
		Use:     "test",
		Short:   "Send a test message by every way that is set up, now",
		Example: "  coldweek notify test\n  coldweek notify test --engineer Ada --home /var/lib/coldweek",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			return a.withNotifier(c.Context(), func(h home, config *notifyConfig, n *notify.Notifier) error {
				if err := config.checkEngineer(engineer); err != nil {
					return err
				}
				for _, words := range config.unknownSites(h.siteIDs()) {
					fmt.Fprintln(a.err, words)
				}
				return a.writeTried(n.Test(c.Context(), engineer))
			})
		},
	}
	c.Flags().StringVar(&engineer, "engineer", "", "the name of one engineer; all when left out")
	return c
}

func (n *notifyConfig) checkEngineer(name string) error {
	var names []string
	for _, e := range n.Engineers {
		if e.Name == name || name == "" {
			return nil
		}
		names = append(names, e.Name)
	}
	return usagef("--engineer %q is not in coldweek.yaml; did you mean %q?", name, ingest.Nearest(name, names))
}

func (a *app) writeTried(tried []notify.Tried) error {
	failed := false
	for _, t := range tried {
		outcome := "taken"
		if t.Err != nil {
			failed, outcome = true, "failed: "+t.Err.Error()
		}
		fmt.Fprintf(a.out, "%s, %s to %s: %s\n", t.Engineer, t.Way, t.To, outcome)
	}
	if failed {
		return errReported
	}
	return nil
}

func newNotifyPending(a *app) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "pending",
		Short: "Show what engineers were not told, or not yet, and why",
		Long: `Show what waits for its time (waiting), what does not get through (trying) and
what never did (given up), with the last error.`,
		Example: "  coldweek notify pending",
		Args:    args(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			return a.withNotifier(c.Context(), func(_ home, _ *notifyConfig, n *notify.Notifier) error {
				pending, err := n.Pending(c.Context())
				if err != nil {
					return err
				}
				if asJSON {
					return writeJSON(a.out, pendingJSON(pending))
				}
				return a.writePending(pending)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// pendingNotice is a pending notification in JSON.
type pendingNotice struct {
	State    notify.State   `json:"state"`
	At       time.Time      `json:"at"`
	Engineer string         `json:"engineer"`
	Way      notify.Way     `json:"way"`
	Digest   bool           `json:"digest"`
	Attempts int            `json:"attempts"`
	Problem  string         `json:"problem,omitempty"`
	Events   []notify.Event `json:"events"`
}

func pendingJSON(pending []notify.Pending) []pendingNotice {
	list := []pendingNotice{}
	for _, p := range pending {
		p.At = p.At.UTC()
		list = append(list, pendingNotice(p))
	}
	return list
}

func (a *app) writePending(pending []notify.Pending) error {
	if len(pending) == 0 {
		fmt.Fprintln(a.out, "nothing waits")
		return nil
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "state\tat\tengineer\tby\twhat\tattempts\tlast problem")
	for _, p := range pending {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\t%s\n", p.State, p.At.UTC().Format(time.RFC3339), p.Engineer, p.Way, pendingWords(p), p.Attempts, p.Problem)
	}
	return w.Flush()
}

// pendingWords says what is pending.
func pendingWords(p notify.Pending) string {
	if len(p.Events) == 0 {
		return "–"
	}
	e := p.Events[0]
	words := fmt.Sprintf("%s %s: %s", e.Site, e.What, e.Title)
	if len(p.Events) > 1 {
		words += fmt.Sprintf(", and %d more", len(p.Events)-1)
	}
	if p.Digest {
		words = "digest: " + words
	}
	return words
}

// withNotifier does the work on the outbox of the home.
func (a *app) withNotifier(ctx context.Context, work func(h home, config *notifyConfig, n *notify.Notifier) error) (err error) {
	h, err := a.openHome()
	if err != nil {
		return err
	}
	c, err := h.parseConfig()
	if err != nil {
		return err
	}
	if c.Notify == nil {
		return usagef("%s has no notify section, so nobody is told of findings; coldweek init in a new folder writes one to begin with, as comments", h.configPath())
	}
	n, err := c.Notify.open(ctx, h, nil, a.quietLogger())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, n.Close()) }()
	return work(h, c.Notify, n)
}

// open opens the notifier that coldweek.yaml describes.
func (n *notifyConfig) open(ctx context.Context, h home, actions func(context.Context, string) ([]store.Action, error), logger *slog.Logger) (*notify.Notifier, error) {
	o, err := n.options(h)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(h.dataDir(), 0o750); err != nil {
		return nil, fmt.Errorf("make data folder: %w", err)
	}
	o.Actions, o.Logger = actions, logger
	return notify.Open(ctx, o)
}

func (h home) outboxPath() string { return filepath.Join(h.dataDir(), "outbox.sqlite") }

// siteIDs are the names of the site records, right or not.
func (h home) siteIDs() []string {
	files, err := filepath.Glob(h.sitePath("*"))
	if err != nil {
		return nil
	}
	ids := make([]string, len(files))
	for i, f := range files {
		ids[i] = strings.TrimSuffix(filepath.Base(f), ".yaml")
	}
	return ids
}

// deployment tells this deployment from others that use the same broker.
func (h home) deployment() string {
	host, _ := os.Hostname() // without one the folder has to do
	return cmp.Or(host, "coldweek") + ":" + h.absolute()
}

// absolute is the folder wherever one stands, as far as that is known.
func (h home) absolute() string {
	dir, err := filepath.Abs(h.dir)
	if err != nil {
		return h.dir
	}
	return dir
}

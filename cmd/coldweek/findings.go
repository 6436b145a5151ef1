package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os/user"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

func newFindings(a *app) *cobra.Command {
	var all, asJSON bool
	c := &cobra.Command{
		Use:   "findings [SITE]",
		Short: "Show what was noticed: low flow, short cycling, cold rooms, silence",
		Long: `Show the findings that last, the worst first, with their evidence, the likeliest
causes and what to look at next. coldweek serve watches and keeps them; after
loading history, coldweek watch SITE makes them.`,
		Example: `  coldweek findings
  coldweek findings mill-cottage --all
  coldweek findings --json | jq '.[] | select(.severity == "urgent") | .site'`,
		Args: args(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withHome(c.Context(), func(h home, st *stores) error {
				records, err := h.chosen(given)
				if err != nil {
					return err
				}
				shown, err := gather(c.Context(), st, records, all, time.Now())
				if err != nil {
					return err
				}
				if asJSON {
					return writeJSON(a.out, findingsJSON(shown))
				}
				a.writeFindings(shown)
				return nil
			})
		},
	}
	c.Flags().BoolVar(&all, "all", false, "also those that have ended")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON for other programs")
	return c
}

// chosen returns the record named, or all.
func (h home) chosen(given []string) ([]*site.Record, error) {
	if len(given) == 0 {
		return site.LoadAll(h.sitesDir())
	}
	record, err := h.record(given[0])
	return []*site.Record{record}, err
}

// shownFinding is a finding with what was done about it.
type shownFinding struct {
	site     *site.Record
	finding  watch.Finding
	attitude store.Attitude
}

// gather reads the findings of sites, the worst first.
func gather(ctx context.Context, st store.Findings, records []*site.Record, all bool, now time.Time) ([]shownFinding, error) {
	from := now
	if all {
		from = time.Time{}
	}
	var shown []shownFinding
	for _, record := range records {
		findings, err := job.ReadFindings(ctx, st, record.ID, from, now.Add(ingest.MaxAhead))
		if err != nil {
			return nil, err
		}
		actions, err := st.Actions(ctx, record.ID)
		if err != nil {
			return nil, err
		}
		for _, f := range findings {
			if all || !f.Ended() {
				shown = append(shown, shownFinding{record, f, store.AttitudeTo(f.Kind, f.Since, actions, now)})
			}
		}
	}
	slices.SortStableFunc(shown, func(x, y shownFinding) int {
		return cmp.Or(rank(y.finding.Severity, y.finding.Ended())-rank(x.finding.Severity, x.finding.Ended()), y.finding.Since.Compare(x.finding.Since))
	})
	return shown, nil
}

// rank puts what lasts before what has ended, and the severe before the rest.
func rank(severity watch.Severity, ended bool) int {
	rank := slices.Index(store.Severities(), store.Severity(severity))
	if !ended {
		rank += len(store.Severities())
	}
	return rank
}

// findingJSON is a finding as other programs read it.
type findingJSON struct {
	Site         string             `json:"site"`
	ID           string             `json:"id"`
	Kind         string             `json:"kind"`
	Severity     watch.Severity     `json:"severity"`
	Since        time.Time          `json:"since"`
	Until        *time.Time         `json:"until"`
	Title        string             `json:"title"`
	Evidence     map[string]float64 `json:"evidence"`
	Causes       []string           `json:"causes"`
	Next         []string           `json:"next"`
	Caution      string             `json:"caution,omitempty"`
	Basis        string             `json:"basis"`
	Acknowledged bool               `json:"acknowledged"`
	By           string             `json:"acknowledged_by,omitempty"`
	Muted        bool               `json:"muted"`
	MutedUntil   *time.Time         `json:"muted_until,omitempty"` // none when muted for good
	Note         string             `json:"note,omitempty"`        // of the last who did something about it
}

func findingsJSON(shown []shownFinding) []findingJSON {
	out := []findingJSON{}
	for _, s := range shown {
		f := &s.finding
		j := findingJSON{
			Site: s.site.ID, ID: job.FindingID(f.Kind, f.Since), Kind: f.Kind, Severity: f.Severity, Since: f.Since, Title: f.Title,
			Evidence: map[string]float64{}, Causes: append([]string{}, f.Causes...), Next: append([]string{}, f.Next...),
			Caution: f.Caution, Basis: f.Basis,
			Acknowledged: s.attitude.Acknowledged, By: s.attitude.AcknowledgedBy, Muted: s.attitude.Muted,
		}
		if until := s.attitude.MutedUntil; s.attitude.Muted && !until.IsZero() {
			j.MutedUntil = &until
		}
		if s.attitude.Last != nil {
			j.Note = s.attitude.Last.Note
		}
		if f.Ended() {
			j.Until = &f.Until
		}
		for _, figure := range f.Evidence {
			j.Evidence[figure.Name] = figure.Value
		}
		out = append(out, j)
	}
	return out
}

func (a *app) writeFindings(shown []shownFinding) {
	if len(shown) == 0 {
		fmt.Fprintln(a.out, "Nothing was noticed that lasts.")
		return
	}
	for i, s := range shown {
		if i > 0 {
			fmt.Fprintln(a.out)
		}
		writeFinding(a.out, s)
	}
}

func writeFinding(out io.Writer, s shownFinding) {
	f, zone := &s.finding, s.site.Zone()
	fmt.Fprintf(out, "%s  %s  %s\n", strings.ToUpper(string(f.Severity)), s.site.ID, f.Title)
	when := "since " + f.Since.In(zone).Format("Mon 2 Jan 2006 15:04")
	if f.Ended() {
		when += " until " + f.Until.In(zone).Format("Mon 2 Jan 15:04")
	}
	fmt.Fprintf(out, "  %s; %s%s\n", f.Kind, when, s.attitude.Words(zone))
	for _, figure := range f.Evidence {
		fmt.Fprintf(out, "    %s\n", figureLine(figure))
	}
	writeNumbered(out, "likely", f.Causes)
	writeNumbered(out, "look at", f.Next)
	if f.Caution != "" {
		fmt.Fprintf(out, "  Caution: %s\n", f.Caution)
	}
	fmt.Fprintf(out, "  Basis: %s\n", f.Basis)
}

func writeNumbered(out io.Writer, what string, lines []string) {
	for i, line := range lines {
		fmt.Fprintf(out, "  %-8s%d. %s\n", what, i+1, line)
		what = ""
	}
}

func newAcknowledge(a *app) *cobra.Command {
	return a.actionCommand(&cobra.Command{
		Use:   "ack SITE KIND",
		Short: "Say that a finding was seen: nobody is told of it again",
		Long: `Say that a finding was seen. It stays until it ends by itself; engineers are not
told of it again, unless it becomes urgent. KIND is as coldweek findings shows it,
such as low_flow or room_cold/kitchen; the id of its JSON will do too.`,
		Example: "  coldweek ack mill-cottage low_flow --note \"strainer to be cleaned on Friday\"",
	}, store.Acknowledge, "")
}

func newMute(a *app) *cobra.Command {
	return a.actionCommand(&cobra.Command{
		Use:   "mute SITE KIND",
		Short: "Tell nobody of a kind of finding for a while",
		Long: `Tell nobody of findings of a kind at a site for a while, open or yet to come. They
are still kept and shown. KIND is as coldweek findings shows it. --for 0 takes a
mute back.`,
		Example: `  coldweek mute mill-cottage room_cold/attic --for 14d --note "attic is not heated until March"
  coldweek mute mill-cottage silent --for 36h
  coldweek mute mill-cottage room_cold/attic --for 0`,
	}, store.Mute, "14d")
}

// actionCommand makes a command that keeps an action; length is the usual one of
// a mute, "" for what has none.
func (a *app) actionCommand(c *cobra.Command, deed store.Deed, length string) *cobra.Command {
	var note, by, forHow string
	c.Args = args(cobra.ExactArgs(2))
	c.RunE = func(c *cobra.Command, given []string) error {
		return a.withSite(c.Context(), given[0], func(_ home, record *site.Record, st *stores) error {
			kind, _, _ := strings.Cut(given[1], "@") // the rest of an id is the time
			action := store.Action{Site: record.ID, Kind: kind, At: time.Now(), Deed: deed, By: cmp.Or(by, userName()), Note: note}
			action, err := lasting(action, forHow)
			if err != nil {
				return err
			}
			return a.act(c.Context(), st, record, action)
		})
	}
	c.Flags().StringVar(&note, "note", "", "why, for the others")
	c.Flags().StringVar(&by, "by", "", "who; the user of this machine when left out")
	if length != "" {
		c.Flags().StringVar(&forHow, "for", length, "how long: weeks (2w), days (14d) or hours (36h); 0 takes it back")
	}
	return c
}

// act keeps an action and says what it comes to.
func (a *app) act(ctx context.Context, st store.Findings, record *site.Record, action store.Action) error {
	if err := canAct(ctx, st, record, action); err != nil {
		return err
	}
	if err := st.AddAction(ctx, action); err != nil {
		return err
	}
	words := "; told again from now on"
	if action.Deed != store.Unmute {
		attitude := store.AttitudeTo(action.Kind, action.At, []store.Action{action}, action.At)
		words = attitude.Words(record.Zone())
	}
	fmt.Fprintf(a.out, "%s of %s%s\n", action.Kind, record.ID, words)
	return nil
}

// lasting makes a mute last as long as asked, or be taken back.
func lasting(action store.Action, forHow string) (store.Action, error) {
	if action.Deed != store.Mute {
		return action, nil
	}
	d, err := parseLength(forHow)
	if action.Until = action.At.Add(d); d == 0 {
		action.Deed, action.Until = store.Unmute, time.Time{}
	}
	return action, err
}

// canAct refuses an acknowledgement of what is not open, and a kind that there is
// none of, naming the nearest: of what the site has or had, and for a mute of what
// there may come.
func canAct(ctx context.Context, st store.Findings, record *site.Record, action store.Action) error {
	findings, err := st.Findings(ctx, record.ID, time.Time{}, time.Now().Add(ingest.MaxAhead))
	if err != nil {
		return err
	}
	var kinds []string
	var ended time.Time
	for _, f := range findings {
		if kinds = append(kinds, f.Kind); f.Kind != action.Kind {
			continue
		}
		if action.Deed != store.Acknowledge || f.Until.IsZero() {
			return nil
		}
		ended = f.Until
	}
	if action.Deed != store.Acknowledge {
		kinds = append(kinds, watch.Kinds()...)
		if kind, _, _ := strings.Cut(action.Kind, "/"); slices.Contains(kinds, kind) {
			return nil
		}
	}
	switch {
	case !ended.IsZero():
		return usagef("%s of site %q ended %s, so there is nothing to acknowledge", action.Kind, record.ID, ended.In(record.Zone()).Format("Mon 2 Jan 2006 15:04"))
	case len(kinds) == 0:
		return usagef("site %q has no findings", record.ID)
	}
	return usagef("site %q has no finding %q; did you mean %q?", record.ID, action.Kind, ingest.Nearest(action.Kind, kinds))
}

func userName() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return ""
}

// parseLength reads 14d, 2w or what time.ParseDuration does.
func parseLength(text string) (time.Duration, error) {
	for unit, length := range map[string]time.Duration{"d": 24 * time.Hour, "w": 7 * 24 * time.Hour} {
		count, ok := strings.CutSuffix(text, unit)
		if n, err := strconv.Atoi(count); ok && err == nil && n >= 0 {
			return time.Duration(n) * length, nil
		}
	}
	if text == "0" {
		return 0, nil
	}
	d, err := time.ParseDuration(text)
	if err != nil || d < 0 {
		return 0, usagef("--for %q: write weeks (2w), days (14d) or hours (36h)", text)
	}
	return d, nil
}

func newWatch(a *app) *cobra.Command {
	var from, to string
	c := &cobra.Command{
		Use:   "watch SITE",
		Short: "Run the rules over history and keep what they find",
		Long: `Run the rules that serve runs on live readings over history, day by day, and keep
the findings. Doing so again changes nothing.`,
		Example: "  coldweek watch mill-cottage --from 2026-01-01 --to 2026-02-01",
		Args:    args(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, given []string) error {
			return a.withSite(c.Context(), given[0], func(h home, record *site.Record, st *stores) error {
				w, err := job.ParseWindow(record, from, to)
				if err != nil {
					return usageError{err}
				}
				bar := a.progress("days")
				defer bar.done()
				return a.watchHistory(c.Context(), h, st, record, w, bar)
			})
		},
	}
	c.Flags().StringVar(&from, "from", "", "first local day, as 2026-01-31")
	c.Flags().StringVar(&to, "to", "", "the day after the last")
	return c
}

// watchHistory runs the rules over a window and shows what lasted in it.
func (a *app) watchHistory(ctx context.Context, h home, st *stores, record *site.Record, w job.Window, bar *progress) error {
	if err := h.watchWindow(ctx, st, record, w, bar.step); err != nil {
		return err
	}
	shown, err := gather(ctx, st, []*site.Record{record}, true, w.To)
	if err != nil {
		return err
	}
	a.writeFindings(slices.DeleteFunc(shown, func(s shownFinding) bool {
		return s.finding.Ended() && s.finding.Until.Before(w.From)
	}))
	return nil
}

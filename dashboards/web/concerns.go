package web

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// noticed is a finding of a plant with what was done about it.
type noticed struct {
	record   *site.Record
	finding  watch.Finding
	attitude store.Attitude
}

// noticedAt returns what a plant's findings were that lasted after from, the
// worst first.
func (s *server) noticedAt(ctx context.Context, record *site.Record, from, now time.Time) ([]noticed, error) {
	findings, err := job.ReadFindings(ctx, s.Store, record.ID, from, now.Add(ingest.MaxAhead))
	if err != nil || len(findings) == 0 {
		return nil, err
	}
	actions, err := s.Store.Actions(ctx, record.ID)
	if err != nil {
		return nil, fmt.Errorf("read actions of site %q: %w", record.ID, err)
	}
	found := make([]noticed, len(findings))
	for i, f := range findings {
		found[i] = noticed{record, f, store.AttitudeTo(f.Kind, f.Since, actions, now)}
	}
	slices.SortStableFunc(found, severest)
	return found, nil
}

// severest puts what lasts before what has ended, what nobody has seen yet before
// what is known, and the severe before the rest; the latest first.
func severest(a, b noticed) int {
	return cmp.Or(cmp.Compare(b.weight(), a.weight()), b.finding.Since.Compare(a.finding.Since), cmp.Compare(a.record.ID, b.record.ID))
}

func (n *noticed) weight() int {
	weight := slices.Index(store.Severities(), store.Severity(n.finding.Severity))
	switch {
	case n.finding.Ended():
		return weight - 20
	case n.attitude.Muted:
		return weight - 10
	}
	return weight
}

// open says whether it lasts and is not muted: whether it is a reason to look at
// the plant.
func (n *noticed) open() bool { return !n.finding.Ended() && !n.attitude.Muted }

// findingAddress is the page of a finding. A kind may name a place behind a slash.
func findingAddress(id string, f *watch.Finding) string {
	return plantAddress(id) + "/findings/" + escapePath(job.FindingID(f.Kind, f.Since))
}

// findingLine is a finding in a list.
type findingLine struct {
	Address, Title string
	Plant, PlantAt string
	Severity       string
	Kind           string
	When, Lasted   string
	Done           string // what was done about it
	Ended          bool
}

func (n *noticed) line(now time.Time) findingLine {
	f := &n.finding
	now = now.In(n.record.Zone())
	l := findingLine{
		Address: findingAddress(n.record.ID, f), Title: printed(f.Title), Plant: nameOf(n.record), PlantAt: plantAddress(n.record.ID),
		Severity: string(f.Severity), Kind: kindInWords(f.Kind), Ended: f.Ended(), Done: doneInWords(n.attitude, n.record.Zone()),
	}
	since := f.Since.In(n.record.Zone())
	if f.Ended() {
		until := f.Until.In(n.record.Zone())
		l.When = moment(since, now) + " to " + moment(until, now)
		l.Lasted = length(f.Until.Sub(f.Since))
		return l
	}
	l.When = "since " + moment(since, now)
	l.Lasted = length(max(0, now.Sub(since)))
	return l
}

// doneInWords says what was done about a finding, "" for nothing.
func doneInWords(a store.Attitude, zone *time.Location) string {
	return upperFirst(strings.TrimPrefix(a.Words(zone), "; "))
}

// kindInWords writes "room_cold/attic" as "room cold, attic".
func kindInWords(kind string) string {
	name, place, found := strings.Cut(kind, "/")
	words := strings.ReplaceAll(name, "_", " ")
	if found {
		words += ", " + strings.NewReplacer("_", " ", "/", " ").Replace(place)
	}
	return words
}

func upperFirst(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// reason is why a line of the list of plants is where it is, leading to the finding.
type reason struct{ Address, Title, Severity string }

// reasonsOf returns what is open at a plant: the first few, and how many more
// there are.
func reasonsOf(found []noticed, most int) (shown []reason, more int) {
	for i := range found {
		if !found[i].open() {
			continue
		}
		if len(shown) == most {
			more++
			continue
		}
		f := &found[i].finding
		title, _, _ := strings.Cut(f.Title, ";") // the rest is on its page
		shown = append(shown, reason{findingAddress(found[i].record.ID, f), printed(title), string(f.Severity)})
	}
	return shown, more
}

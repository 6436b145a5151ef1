package web

import (
	"context"
	"maps"
	"net/http"
	"net/url"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	inboxLines = 40
	// inboxReach is how far back findings that ended are listed.
	inboxReach = 366 * 24 * time.Hour
)

// filter is which findings are listed; all of it stands in the address.
type filter struct {
	State, Severity, Site, Kind string
	Sheet                       int
}

// choice is an option of a field.
type choice struct {
	Value, Name string
	Chosen      bool
}

// inboxStates are the states to filter by, the first without being asked.
var inboxStates = []choice{
	{Value: "open", Name: "open"}, {Value: "new", Name: "open, nobody has seen it"}, {Value: "seen", Name: "acknowledged"},
	{Value: "muted", Name: "muted"}, {Value: "ended", Name: "ended"}, {Value: "all", Name: "all of a year"},
}

func (f filter) holds(n *noticed) bool {
	ended := n.finding.Ended()
	in := map[string]bool{
		"open": !ended && !n.attitude.Muted, "new": n.open() && !n.attitude.Acknowledged, "seen": !ended && n.attitude.Acknowledged,
		"muted": !ended && n.attitude.Muted, "ended": ended, "all": true,
	}
	return in[f.State] && (f.Severity == "" || n.finding.Severity.AtLeast(watch.Severity(f.Severity))) &&
		(f.Site == "" || n.record.ID == f.Site) && (f.Kind == "" || n.finding.Name() == f.Kind)
}

// reach is from when on findings have to be read.
func (f filter) reach(now time.Time) time.Time {
	if f.State == "ended" || f.State == "all" {
		return now.Add(-inboxReach)
	}
	return now
}

func parseFilter(query url.Values) (filter, error) {
	f := filter{State: query.Get("state"), Severity: query.Get("severity"), Site: query.Get("site"), Kind: query.Get("kind")}
	if f.State == "" {
		f.State = inboxStates[0].Value
	}
	bad := func(what, value string) error {
		return &refusal{Status: http.StatusBadRequest, Title: "Findings cannot be listed so",
			Detail: what + ": " + strconv.Quote(value) + " is none there is. Choose from the lists on the page.", Back: "/findings", BackName: "Findings"}
	}
	if !slices.ContainsFunc(inboxStates, func(c choice) bool { return c.Value == f.State }) {
		return f, bad("state", f.State)
	}
	if f.Severity != "" && !slices.Contains(store.Severities(), store.Severity(f.Severity)) {
		return f, bad("severity", f.Severity)
	}
	var err error
	f.Sheet, err = sheetNumber(query.Get("sheet"))
	return f, err
}

// address is the list with this filter.
func (f filter) address() string {
	q := url.Values{}
	set := func(name, value string) {
		if value != "" {
			q.Set(name, value)
		}
	}
	if f.State != inboxStates[0].Value {
		set("state", f.State)
	}
	set("severity", f.Severity)
	set("site", f.Site)
	set("kind", f.Kind)
	if f.Sheet > 1 {
		set("sheet", strconv.Itoa(f.Sheet))
	}
	if len(q) == 0 {
		return "/findings"
	}
	return "/findings?" + q.Encode()
}

// inboxBody is the list of findings over all plants.
type inboxBody struct {
	States, Severities, Plants, Kind []choice
	Lines                            []findingLine
	Found, Plant                     int // findings that fit, and plants they are of
	Back, Onward                     string
	Filtered                         bool
}

func (s *server) inbox(r *http.Request) (*page, error) {
	f, err := parseFilter(r.URL.Query())
	if err != nil {
		return nil, err
	}
	now := s.Now()
	records := s.Sites()
	found, err := s.noticedOver(r.Context(), records, f, now)
	if err != nil {
		return nil, err
	}
	kinds := map[string]bool{}
	for i := range found {
		kinds[found[i].finding.Name()] = true
	}
	found = slices.DeleteFunc(found, func(n noticed) bool { return !f.holds(&n) })
	first, last, err := onSheet(f.Sheet, inboxLines, len(found))
	if err != nil {
		return nil, err
	}
	body := &inboxBody{Found: len(found), Plant: countPlants(found), Filtered: f.address() != "/findings"}
	body.choices(f, records, kinds)
	for i := first; i < last; i++ {
		body.Lines = append(body.Lines, found[i].line(now))
	}
	body.Back, body.Onward = f.turns(last < len(found))
	return &page{Template: "inbox", Title: "Findings", Section: "findings", Body: body}, nil
}

// turns are the sheets before and after.
func (f filter) turns(more bool) (back, onward string) {
	if f.Sheet > 1 {
		before := f
		before.Sheet--
		back = before.address()
	}
	if more {
		f.Sheet++
		onward = f.address()
	}
	return back, onward
}

// noticedOver reads the findings of plants, the worst first.
func (s *server) noticedOver(ctx context.Context, records []*site.Record, f filter, now time.Time) ([]noticed, error) {
	each := make([][]noticed, len(records))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, r := range records {
		if f.Site != "" && f.Site != r.ID {
			continue
		}
		g.Go(func() (err error) {
			each[i], err = s.noticedAt(ctx, r, f.reach(now), now)
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	found := slices.Concat(each...)
	slices.SortStableFunc(found, severest)
	return found, nil
}

func countPlants(found []noticed) int {
	ids := map[string]bool{}
	for i := range found {
		ids[found[i].record.ID] = true
	}
	return len(ids)
}

// choices fills the fields of the filter.
func (b *inboxBody) choices(f filter, records []*site.Record, kinds map[string]bool) {
	for _, c := range inboxStates {
		b.States = append(b.States, choice{c.Value, c.Name, c.Value == f.State})
	}
	b.Severities = []choice{{"", "any", f.Severity == ""}, {"attention", "attention or worse", f.Severity == "attention"}, {"urgent", "urgent", f.Severity == "urgent"}}
	b.Plants = []choice{{"", "all", f.Site == ""}}
	for _, r := range records {
		b.Plants = append(b.Plants, choice{r.ID, nameOf(r), r.ID == f.Site})
	}
	slices.SortStableFunc(b.Plants[1:], func(x, y choice) int { return strings.Compare(x.Name, y.Name) })
	b.Kind = []choice{{"", "any", f.Kind == ""}}
	if f.Kind != "" {
		kinds[f.Kind] = true
	}
	for _, name := range slices.Sorted(maps.Keys(kinds)) {
		b.Kind = append(b.Kind, choice{name, kindInWords(name), name == f.Kind})
	}
}

package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// findingBody is one finding: what it stands on, what it may come from, what to
// look at, and what was done about it.
type findingBody struct {
	Head           plantHead
	Line           findingLine
	Since, Until   string
	AsOf           string
	Evidence       []figure
	Causes, Next   []string
	Caution, Basis string
	Readings       string // address of the trace in which it began
	Acted          []act
	Before         []findingLine // of the same kind, earlier
	Form           form
	Lengths        []choice // of a mute
	Muted, Open    bool
	Seen           bool   // it was acknowledged
	Note           string // kept when a form was refused
	Mistake        string
	Said           string // what the last form did
}

// act is something that was done about a kind of finding.
type act struct{ When, What, By, Note string }

// escapePath escapes each step of a path.
func escapePath(path string) string {
	steps := strings.Split(path, "/")
	for i := range steps {
		steps[i] = url.PathEscape(steps[i])
	}
	return strings.Join(steps, "/")
}

// pickFinding returns the finding of an address.
func (s *server) pickFinding(r *http.Request) (*site.Record, *noticed, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, nil, err
	}
	id := r.PathValue("finding")
	at := strings.LastIndexByte(id, '@')
	since, parsed := time.Time{}, false
	if at > 0 {
		t, err := time.Parse("2006-01-02T15:04:05Z", id[at+1:])
		since, parsed = t, err == nil
	}
	if parsed {
		found, err := s.noticedAt(r.Context(), record, since, s.Now())
		if err != nil {
			return nil, nil, err
		}
		for i := range found {
			if job.FindingID(found[i].finding.Kind, found[i].finding.Since) == id {
				return record, &found[i], nil
			}
		}
	}
	return nil, nil, &refusal{
		Status: http.StatusNotFound, Title: "There is no such finding",
		Detail: "It may have been withdrawn, because later readings showed that there was nothing.",
		Back:   plantAddress(record.ID) + "/findings", BackName: "Findings of " + nameOf(record),
	}
}

func (s *server) finding(r *http.Request) (*page, error) {
	record, n, err := s.pickFinding(r)
	if err != nil {
		return nil, err
	}
	body, err := s.findingBody(r, record, n)
	if err != nil {
		return nil, err
	}
	body.Said = saidOf(r.URL.Query().Get("done"))
	return &page{Template: "finding", Title: n.finding.Title + ", " + nameOf(record), Section: "findings", Body: body}, nil
}

func (s *server) findingBody(r *http.Request, record *site.Record, n *noticed) (*findingBody, error) {
	f, now, zone := &n.finding, s.Now().In(record.Zone()), record.Zone()
	body := &findingBody{
		Line: n.line(now), Since: f.Since.In(zone).Format("Mon 2 Jan 2006, 15:04"), AsOf: moment(f.AsOf.In(zone), now),
		Causes: sentences(f.Causes), Next: sentences(f.Next), Caution: sentence(f.Caution), Basis: sentence(f.Basis), Readings: tracePeriod(f, now).address(record.ID),
		Form: s.formFor(r), Lengths: muteLengths, Muted: n.attitude.Muted, Open: !f.Ended(), Seen: n.attitude.Acknowledged,
	}
	if f.Ended() {
		body.Until = f.Until.In(zone).Format("Mon 2 Jan 2006, 15:04")
	}
	for _, e := range f.Evidence {
		value := e.Value
		body.Evidence = append(body.Evidence, figure{Name: upperFirst(e.Words()), Figure: measured(&value, e.Decimals, e.Unit)})
	}
	var err error
	if body.Head, err = s.plantHead(r, record, "findings"); err != nil {
		return nil, err
	}
	return body, s.findingHistory(r.Context(), body, record, f, now)
}

// findingHistory adds what was done about the kind, and when it was there before.
func (s *server) findingHistory(ctx context.Context, body *findingBody, record *site.Record, f *watch.Finding, now time.Time) error {
	actions, err := s.Store.Actions(ctx, record.ID)
	if err != nil {
		return fmt.Errorf("read actions of site %q: %w", record.ID, err)
	}
	for _, a := range actions {
		if a.Kind == f.Kind {
			body.Acted = append(body.Acted, act{a.At.In(record.Zone()).Format("2 Jan 2006, 15:04"), deedInWords(a, record.Zone()), a.By, a.Note})
		}
	}
	const most = 10
	earlier, err := s.noticedAt(ctx, record, now.Add(-inboxReach), now)
	if err != nil {
		return err
	}
	for i := range earlier {
		e := &earlier[i]
		if e.finding.Kind == f.Kind && e.finding.Since.Before(f.Since) && len(body.Before) < most {
			body.Before = append(body.Before, e.line(now))
		}
	}
	return nil
}

func deedInWords(a store.Action, zone *time.Location) string {
	switch a.Deed {
	case store.Acknowledge:
		return "Acknowledged"
	case store.Mute:
		if a.Until.IsZero() {
			return "Muted for good"
		}
		return "Muted until " + a.Until.In(zone).Format("2 Jan 2006, 15:04")
	case store.Unmute:
		return "Mute taken back"
	}
	return "Remark"
}

// tracePeriod is the readings in which a finding can be seen: its beginning with
// what was before it, two days at most.
func tracePeriod(f *watch.Finding, now time.Time) period {
	since := f.Since.In(now.Location())
	end := now
	if f.Ended() {
		end = f.Until.In(now.Location())
	}
	p := period{since.Add(-3 * time.Hour).Truncate(time.Minute), end.Add(time.Hour).Truncate(time.Minute)}
	if latest := p.from.Add(48 * time.Hour); p.to.After(latest) {
		p.to = latest
	}
	return p
}

// address is a plant's page over the period.
func (p period) address(id string) string { return plantAddress(id) + p.query() }

// muteLengths are the days a mute may last.
var muteLengths = []choice{{"1", "a day", false}, {"7", "a week", false}, {"14", "a fortnight", true}, {"30", "30 days", false}, {"90", "90 days", false}, {"0", "for good", false}}

// longestNote is in characters.
const longestNote = 400

// actOnFinding keeps what an engineer did about a finding.
func (s *server) actOnFinding(r *http.Request) (*page, error) {
	record, n, err := s.pickFinding(r)
	if err != nil {
		return nil, err
	}
	address := findingAddress(record.ID, &n.finding)
	by, err := s.readForm(r, address, n.finding.Title)
	if err != nil {
		return nil, err
	}
	action := store.Action{Site: record.ID, Kind: n.finding.Kind, At: s.Now(), By: by, Note: oneLine(r.PostForm.Get("note"), longestNote)}
	mistake := readDeed(&action, r.PostForm)
	if mistake == "" {
		if err := s.Store.AddAction(r.Context(), action); err != nil {
			return nil, fmt.Errorf("keep action: %w", err)
		}
		return &page{Onward: address + "?done=" + string(action.Deed)}, nil
	}
	body, err := s.findingBody(r, record, n)
	if err != nil {
		return nil, err
	}
	body.Mistake, body.Note = mistake, action.Note
	return &page{Template: "finding", Title: n.finding.Title, Section: "findings", Status: http.StatusUnprocessableEntity, Body: body}, nil
}

// readDeed reads what is to be done; the mistake says what would be right.
func readDeed(a *store.Action, sent url.Values) (mistake string) {
	a.Deed = store.Deed(sent.Get("deed"))
	switch a.Deed {
	case store.Acknowledge, store.Unmute:
	case store.Remark:
		if a.Note == "" {
			return "A remark needs its text: write it into the note."
		}
	case store.Mute:
		days, err := strconv.Atoi(sent.Get("days"))
		if err != nil || days < 0 || days > 3660 {
			return "Say for how long it is to be muted."
		}
		if days > 0 {
			a.Until = a.At.AddDate(0, 0, days)
		}
	default:
		return "Say what is to be done: acknowledge, mute, or remark."
	}
	return ""
}

// saidOf confirms what a form did.
func saidOf(done string) string {
	switch store.Deed(done) {
	case store.Acknowledge:
		return "Acknowledged. Nobody is told of it again, unless it becomes urgent."
	case store.Mute:
		return "Muted. Nobody is told of this kind at this plant until it ends."
	case store.Unmute:
		return "The mute is taken back."
	case store.Remark:
		return "The remark is kept."
	}
	return ""
}

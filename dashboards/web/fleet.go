package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"net/url"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"coldweek/analysis/job"
	"coldweek/analysis/operation"
	"coldweek/ingest/site"
)

const (
	// sheetLines bounds the page's weight.
	sheetLines = 25
	// fleetPatience is how long the list waits for readings to be looked at.
	// Lines that are not ready are shown without figures, and are further on at
	// the next visit.
	fleetPatience = 4 * time.Second
)

// fleetBody is the list of all plants.
type fleetBody struct {
	Search       string
	Lines        []fleetLine
	Order        string
	All, Found   int // plants there are, plants that fit the search
	Sheet        int // from 1
	Back, Onward string
	AnyReadings  bool
	Unread       int // lines that were not ready in time
}

// fleetLine is a plant.
type fleetLine struct {
	ID, Name, Reason, Address string
	Message                   string   // said instead of figures
	Findings                  []reason // what is open, the worst first
	More                      int      // findings beyond those
	MoreAt                    string

	State, StateClass, Since string
	Flow, Outdoors, Power    quantity
	Spark                    template.HTML

	Today, Week span7

	order standing
}

// mostReasons findings stand in a line of the list.
const mostReasons = 2

// tooLong is said of a plant that could not be looked at in time, or at all.
const tooLong = "Not read yet: reading it took too long or went wrong"

// span7 are the figures of today, or of the last seven days.
type span7 struct{ SPF, Heat, Electricity, Starts, Defrosts, Coverage quantity }

func (s *server) fleet(r *http.Request) (*page, error) {
	search := strings.TrimSpace(r.URL.Query().Get("q"))
	sheet, err := sheetNumber(r.URL.Query().Get("sheet"))
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(r.Context(), s.patience)
	defer cancel()
	records := s.Sites()
	found, err := s.inOrder(ctx, matching(records, search))
	if err != nil {
		return nil, err
	}
	first, last, err := onSheet(sheet, sheetLines, len(found))
	if err != nil {
		return nil, err
	}
	body := fleetBody{Search: search, Order: worstFirst, All: len(records), Found: len(found), Sheet: sheet}
	body.AnyReadings = slices.ContainsFunc(found, func(s standing) bool { return !s.lastSeen.IsZero() })
	if body.Lines, err = s.fleetLines(ctx, found[first:last]); err != nil {
		return nil, err
	}
	for _, l := range body.Lines {
		if l.Message == tooLong {
			body.Unread++
		}
	}
	if sheet > 1 {
		body.Back = sheetAddress(search, sheet-1)
	}
	if last < len(found) {
		body.Onward = sheetAddress(search, sheet+1)
	}
	return &page{Template: "fleet", Title: "All plants", Section: "fleet", Live: "/live", Body: body}, nil
}

func sheetNumber(text string) (int, error) {
	if text == "" {
		return 1, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 1000 {
		return 0, &refusal{Status: http.StatusBadRequest, Title: "There is no such sheet of the list",
			Detail: "Sheets are numbered from 1.", Back: "/", BackName: "All plants"}
	}
	return n, nil
}

// onSheet returns which of so many lines stand on a sheet that holds some of them.
func onSheet(sheet, holds, lines int) (first, last int, err error) {
	first = (sheet - 1) * holds
	if first > 0 && first >= lines {
		return 0, 0, notFound("The list has no sheet %d", sheet)
	}
	return first, min(first+holds, lines), nil
}

func sheetAddress(search string, sheet int) string {
	q := url.Values{}
	if search != "" {
		q.Set("q", search)
	}
	if sheet > 1 {
		q.Set("sheet", strconv.Itoa(sheet))
	}
	return "/?" + q.Encode()
}

// matching returns the records whose name or id holds every word.
func matching(records []*site.Record, search string) []*site.Record {
	words := strings.Fields(strings.ToLower(search))
	var found []*site.Record
	for _, r := range records {
		text := strings.ToLower(r.Name + " " + r.ID)
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
			found = append(found, r)
		}
	}
	return found
}

// inOrder puts plants worst first.
func (s *server) inOrder(ctx context.Context, records []*site.Record) ([]standing, error) {
	now := s.Now()
	order := make([]standing, len(records))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, r := range records {
		g.Go(func() (err error) {
			if order[i], err = storedStanding(ctx, s.looks.Store, r, now); err == nil {
				order[i].found, err = s.noticedAt(ctx, r, now, now)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	slices.SortFunc(order, worse)
	return order, nil
}

// fleetLines looks at each plant. One that cannot be read spoils only its own
// line.
func (s *server) fleetLines(ctx context.Context, order []standing) ([]fleetLine, error) {
	made := make([]fleetLine, len(order))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, o := range order {
		g.Go(func() error {
			var err error
			if made[i], err = s.fleetLine(ctx, o); err != nil && !errors.Is(err, context.DeadlineExceeded) {
				s.Logger.LogAttrs(ctx, slog.LevelError, "look at plant", slog.String("site", o.record.ID), slog.Any("error", err))
			}
			return nil
		})
	}
	_ = g.Wait() // each line keeps its own error
	if err := ctx.Err(); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return nil, err
	}
	slices.SortStableFunc(made, func(a, b fleetLine) int { return worse(a.order, b.order) })
	return made, nil
}

func (s *server) fleetLine(ctx context.Context, order standing) (fleetLine, error) {
	record := order.record
	now := s.Now().In(record.Zone())
	line := fleetLine{ID: record.ID, Name: nameOf(record), Address: plantAddress(record.ID), Reason: order.reason(), order: order}
	line.Findings, line.More = reasonsOf(order.found, mostReasons)
	line.MoreAt = line.Address + "/findings"
	if order.lastSeen.IsZero() {
		line.Message = "No readings yet"
		return line, nil
	}
	line.Message = tooLong
	seen, err := s.looks.close(ctx, record)
	if err != nil {
		return line, err
	}
	week, err := s.looks.week(ctx, record)
	if err != nil {
		return line, err
	}
	line.order = standingOf(record, seen.lastSeen, now, week)
	line.order.found = order.found
	line.Reason = line.order.reason()
	line.Message = ""
	line.now(seen, now)
	line.Today = todayFigures(seen.today)
	line.Week = weekFigures(week)
	return line, nil
}

func plantAddress(id string) string { return "/plants/" + url.PathEscape(id) }

func (l *fleetLine) now(seen *look, now time.Time) {
	l.State, l.StateClass, l.Since = stateInWords(seen, now)
	l.Flow, l.Outdoors, l.Power = celsius(seen.flowC), celsius(seen.outdoorC), kilowatts(seen.powerW)
	// The drawing escapes every name in it.
	l.Spark = template.HTML(seen.spark)
}

// stateNames are the operating states in words and as classes.
var stateNames = map[operation.State][2]string{
	operation.Unknown: {"Not known", "unknown"}, operation.Off: {"Off", "off"}, operation.Circulating: {"Circulating", "circulating"},
	operation.Heating: {"Heating", "heating"}, operation.HotWater: {"Hot water", "hot-water"}, operation.Defrost: {"Defrost", "defrost"},
}

func stateInWords(seen *look, now time.Time) (state, class, since string) {
	if seen.lastSeen.IsZero() {
		return "No readings yet", "silent", ""
	}
	if seen.silence(now) > 0 {
		return "Silent", "silent", fmt.Sprintf("since %s (%s)", moment(seen.lastSeen, now), length(seen.silence(now)))
	}
	names := stateNames[seen.state]
	if !seen.since.IsZero() {
		since = "since " + moment(seen.since, now)
	}
	if seen.backup {
		since = remarks(since, "backup heater on")
	}
	return names[0], names[1], since
}

func todayFigures(d job.Day) span7 {
	return span7{
		SPF: quotient(d.NetKWh, d.ElectricityKWh), Heat: energy(d.NetKWh), Electricity: energy(d.ElectricityKWh),
		Starts: counted(d.Starts), Defrosts: counted(d.Defrosts), Coverage: percent(&d.Coverage),
	}
}

func weekFigures(r *job.Result) span7 {
	starts := quantity{Value: unknown}
	if r.Cycling.Starts != nil && len(r.Days) > 0 {
		perDay := float64(*r.Cycling.Starts) / float64(len(r.Days))
		starts = measured(&perDay, 1, "")
	}
	return span7{
		SPF: measured(r.Efficiency.Overall, 2, ""), Heat: measured(r.Heat.NetKWh, 0, "kWh"), Electricity: measured(r.Electricity.TotalKWh, 0, "kWh"),
		Starts: starts, Defrosts: counted(r.Defrost.Count), Coverage: percent(&r.Coverage),
	}
}

package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"golang.org/x/sync/errgroup"

	"coldweek/ingest"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	// looked is how many refused messages are gone through, shown how many of them
	// stand on the page.
	looked, shown = 1000, 30
	// mostTopics and mostArrivals bound the other lists.
	mostTopics, mostArrivals = 40, 100
	// mostPayload is what of a payload stands on the page, in characters.
	mostPayload = 400
)

// intakeBody is what comes in, what was refused, and what nobody asked for.
type intakeBody struct {
	Since    []figure // since the program began; none where that is not known
	Trouble  string
	Arrivals []arrival
	Reasons  []reasonCount
	Reason   string // the one that is shown alone
	Refused  []refusedLine
	More     bool // there are older ones
	Topics   []openTopic
	Mistakes []remarkLine // of records that are left out for them
	Back     string
	Onward   string
}

// arrival is how one plant's readings come in.
type arrival struct {
	Name, Address string
	Newest, Lag   string
	Late          bool
	Heard         int    // channels
	SilentNames   string // of those that are not heard
	Messages      quantity
	behind        time.Duration
}

// reasonCount is how much was refused for a reason.
type reasonCount struct {
	Address, Words string
	Total, Kept    string
	Here           bool
}

// refusedLine is a message that became no reading.
type refusedLine struct{ Arrived, Topic, Plant, Reason, Detail, Payload, Cut string }

// openTopic is a topic of which messages came that no record claims.
type openTopic struct{ Topic, Last, Payload, Detail, Count string }

func (s *server) intake(r *http.Request) (*page, error) {
	sheet, err := sheetNumber(r.URL.Query().Get("sheet"))
	if err != nil {
		return nil, err
	}
	reason := ingest.Reason(r.URL.Query().Get("reason"))
	if reason != "" && !slices.Contains(ingest.Reasons(), reason) {
		return nil, &refusal{Status: http.StatusBadRequest, Title: "Nothing is refused for such a reason",
			Detail: strconv.Quote(string(reason)) + " is none of the reasons on the page.", Back: "/intake", BackName: "Intake"}
	}
	body := &intakeBody{Reason: string(reason)}
	body.Mistakes = s.mistakes()
	if err := s.arrivals(r.Context(), body, sheet); err != nil {
		return nil, err
	}
	return &page{Template: "intake", Title: "Intake", Section: "intake", Body: body}, s.quarantine(r.Context(), body, reason)
}

// mostMistakes bounds the list.
const mostMistakes = 30

// mistakes are those of records that are left out for them: their plants are in no
// list.
func (s *server) mistakes() []remarkLine {
	if s.SitesDir == "" {
		return nil
	}
	_, err := site.LoadAll(s.SitesDir)
	var problems site.Problems
	if !errors.As(err, &problems) {
		return nil
	}
	var lines []remarkLine
	for _, p := range problems[:min(len(problems), mostMistakes)] {
		if p.Warning {
			continue
		}
		where := filepath.Base(p.File)
		if p.Line > 0 {
			where = fmt.Sprintf("%s, line %d", where, p.Line)
		}
		lines = append(lines, remarkLine{where, oneLine(remarks(p.Field, p.Message), 300), sentence(oneLine(p.Fix, 300))})
	}
	return lines
}

// arrivals fills in what came in, the plant that is furthest behind first.
func (s *server) arrivals(ctx context.Context, body *intakeBody, sheet int) error {
	messages := map[string]int64{}
	if s.Intake != nil {
		st := s.Intake()
		messages = st.Heard
		body.Since = []figure{
			{"Messages", whole(st.Messages), fmt.Sprintf("on disk, %s of them refused", whole(sumOf(st.Refused)))},
			{"Readings", whole(st.Readings), with("%s new or changed", whole(st.Changed))},
			{"Waiting", whole(int64(st.Queued)), "not yet on disk"},
			{"To disk in", measured(new(meanMS(st.Latency.Sum, st.Messages)), 0, "ms"), "on average"},
		}
		if st.Trouble != nil {
			body.Trouble = st.Trouble.Error()
		}
	}
	records := s.Sites()
	lines := make([]arrival, len(records))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, r := range records {
		g.Go(func() (err error) {
			lines[i], err = s.arrival(ctx, r)
			if s.Intake != nil {
				lines[i].Messages = whole(messages[r.ID])
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	slices.SortStableFunc(lines, func(a, b arrival) int { return cmp.Or(cmp.Compare(b.behind, a.behind), cmp.Compare(a.Name, b.Name)) })
	first, last, err := onSheet(sheet, mostArrivals, len(lines))
	if err != nil {
		return err
	}
	body.Arrivals = lines[first:last]
	if sheet > 1 {
		body.Back = "/intake?sheet=" + strconv.Itoa(sheet-1)
	}
	if last < len(lines) {
		body.Onward = "/intake?sheet=" + strconv.Itoa(sheet+1)
	}
	return nil
}

func (s *server) arrival(ctx context.Context, record *site.Record) (arrival, error) {
	a := arrival{Name: nameOf(record), Address: plantAddress(record.ID) + "/sensors", Newest: unknown, Lag: unknown, Messages: quantity{Value: unknown}}
	extents, err := s.Store.Extents(ctx, record.ID)
	if err != nil {
		return a, fmt.Errorf("read extents of site %q: %w", record.ID, err)
	}
	now := s.Now().In(record.Zone())
	var newest time.Time
	var quiet []string
	for _, e := range extents {
		if e.Last.After(newest) {
			newest = e.Last
		}
		if silence(e.Last, now) > 0 {
			quiet = append(quiet, channelInWords(e.Channel))
			continue
		}
		a.Heard++
	}
	a.SilentNames = strings.Join(quiet, ", ")
	if newest.IsZero() {
		a.behind, a.Late = 1<<62, true
		return a, nil
	}
	a.behind = max(0, now.Sub(newest))
	a.Newest, a.Lag, a.Late = moment(newest.In(record.Zone()), now), length(a.behind), silence(newest, now) > 0
	return a, nil
}

// quarantine fills in what was refused.
func (s *server) quarantine(ctx context.Context, body *intakeBody, reason ingest.Reason) error {
	counts, err := s.Store.RefusalCounts(ctx)
	if err != nil {
		return fmt.Errorf("count refused messages: %w", err)
	}
	slices.SortFunc(counts, func(a, b store.QuarantineCount) int { return cmp.Compare(b.Total, a.Total) })
	for _, c := range counts {
		body.Reasons = append(body.Reasons, reasonCount{
			Address: "/intake?reason=" + string(c.Reason) + "#refused", Words: reasonInWords(c.Reason), Here: c.Reason == reason,
			Total: whole(c.Total).Value, Kept: whole(c.Kept).Value,
		})
	}
	refused, err := s.Store.Refusals(ctx, looked)
	if err != nil {
		return fmt.Errorf("read refused messages: %w", err)
	}
	now := s.Now().UTC()
	body.Topics = openTopics(refused, now)
	for _, r := range refused {
		if reason != "" && r.Reason != reason {
			continue
		}
		if len(body.Refused) == shown {
			body.More = true
			break
		}
		payload, cut := excerpt(r.Payload)
		body.Refused = append(body.Refused, refusedLine{
			Arrived: moment(r.Arrived.UTC(), now) + " UTC", Topic: oneLine(r.Topic, 200), Plant: r.Site, Reason: reasonInWords(r.Reason),
			Detail: oneLine(r.Detail, 400), Payload: payload, Cut: cut,
		})
	}
	return nil
}

// openTopics groups what came on topics that no record claims, the latest first.
func openTopics(refused []store.Refused, now time.Time) []openTopic {
	place := map[string]int{}
	count := map[string]int64{}
	var topics []openTopic
	for _, r := range refused {
		if r.Reason != ingest.UnknownTopic && r.Reason != ingest.UnknownSite && r.Reason != ingest.UnknownChannel {
			continue
		}
		count[r.Topic]++
		if _, known := place[r.Topic]; known || len(topics) == mostTopics {
			continue
		}
		place[r.Topic] = len(topics)
		payload, _ := excerpt(r.Payload[:min(len(r.Payload), 120)])
		topics = append(topics, openTopic{Topic: oneLine(r.Topic, 200), Last: moment(r.Arrived.UTC(), now) + " UTC", Payload: payload, Detail: oneLine(r.Detail, 300)})
	}
	for topic, i := range place {
		topics[i].Count = whole(count[topic]).Value
	}
	return topics
}

// excerpt shows the beginning of a payload as text; what is not text is written
// out. Cut says how much there is, when that is not all.
func excerpt(payload []byte) (text, cut string) {
	var b strings.Builder
	n := 0
	for rest := payload; len(rest) > 0 && n < mostPayload; n++ {
		c, size := utf8.DecodeRune(rest)
		switch {
		case c == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, rest[0])
		case c == '\n' || c == '\t':
			b.WriteByte(' ')
		case strconv.IsPrint(c):
			b.WriteRune(c)
		default:
			b.WriteString(strings.Trim(strconv.QuoteRuneToASCII(c), "'"))
		}
		payload, rest = rest[size:], rest[size:]
	}
	if len(payload) > 0 && n == mostPayload {
		cut = fmt.Sprintf("and %s bytes more", whole(int64(len(payload))))
	}
	return b.String(), cut
}

// reasonInWords says why something was refused.
func reasonInWords(r ingest.Reason) string {
	words := map[ingest.Reason]string{
		ingest.UnknownTopic: "topic of no plant", ingest.UnknownSite: "plant without a record", ingest.UnknownChannel: "no such channel",
		ingest.BadPayload: "could not be read", ingest.BadTime: "no usable time", ingest.FutureTime: "from the future",
		ingest.ImpossibleValue: "impossible value", ingest.TooLarge: "too large", ingest.StoreRefused: "refused by the database",
	}
	if w, known := words[r]; known {
		return w
	}
	return strings.ReplaceAll(string(r), "_", " ")
}

// channelInWords is a channel as people say it.
func channelInWords(ch ingest.Channel) string {
	words := strings.ReplaceAll(string(ch.Quantity()), "_", " ")
	if kind, is := strings.CutSuffix(words, " temp"); is {
		words = kind + " temperature"
	}
	if place := ch.Place(); place != "" {
		words += " " + strings.NewReplacer("_", " ", "-", " ", "/", " ").Replace(place)
	}
	return words
}

func whole(n int64) quantity { return quantity{Value: number(float64(n), 0)} }

func sumOf[K comparable](counts map[K]int64) int64 {
	total := int64(0)
	for _, n := range counts {
		total += n
	}
	return total
}

func meanMS(sum time.Duration, n int64) float64 {
	return float64(sum.Milliseconds()) / float64(max(1, n))
}

package web

import (
	"context"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/sync/singleflight"

	"coldweek/analysis/job"
	"coldweek/analysis/review"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// reviewBody is the cold-week review of a plant.
type reviewBody struct {
	Head                    plantHead
	From, To                string // for the fields of the form; To is the last day
	Asked                   bool   // the days were asked for
	ID, Name, Stylesheet    string
	Style                   template.CSS // of a page that stands alone
	Period, Chosen, HowCold string
	Empty                   bool // there are no readings of the days
	Scores                  []score
	Points                  []pointLine
	Night                   *nightLine
	Open                    []openLine
}

// score is how many points are in a state.
type score struct {
	State, Words string
	Count        int
}

// pointLine is a point of the review.
type pointLine struct {
	State, Words, Name         string
	Number, Interval           string
	Limit, Held, Says, Caution string
	Next                       []string
}

// nightLine is the coldest night.
type nightLine struct {
	When, Beyond string
	Figures      []review.Figure
}

// openLine is a finding that was open at the end.
type openLine struct{ Severity, Title, Since string }

// reviews keeps the reviews asked for last: one takes seconds.
type reviews struct {
	*server
	kept   *lru.Cache[reviewKey, *keptReview]
	making singleflight.Group
}

// reviewKey names a review.
type reviewKey struct {
	site     string
	from, to int64
	revision int64 // of what it stands on
}

// keptReview is a review with what it was made with.
type keptReview struct {
	*review.Review
	record *site.Record
	made   time.Time
}

const (
	// keptReviews bounds those kept, reviewLasts for how long one is shown again.
	keptReviews, reviewLasts = 40, 10 * time.Minute
	// beforeReview is how far back the rules look from its first day.
	beforeReview = 28 * 24 * time.Hour
)

func newReviews(s *server) *reviews {
	kept, err := lru.New[reviewKey, *keptReview](keptReviews)
	if err != nil {
		panic(fmt.Sprintf("BUG: keep %d reviews: %v", keptReviews, err))
	}
	return &reviews{server: s, kept: kept}
}

// page shows the days asked for, or the coldest week.
func (v *reviews) page(r *http.Request) (*page, error) {
	record, err := v.record(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	w, chosen, asked, err := v.days(r, record)
	if err != nil {
		return nil, backTo(err, record)
	}
	made, err := v.of(r.Context(), record, w, chosen)
	if err != nil {
		return nil, err
	}
	body := reviewBodyOf(made)
	body.Asked, body.Stylesheet = asked, v.assets.address("review.css")
	body.From, body.To = w.From.Format(dateLayout), w.To.Add(-time.Millisecond).Format(dateLayout)
	if body.Head, err = v.plantHead(r, record, "review"); err != nil {
		return nil, err
	}
	return &page{Template: "review", Title: "Cold week, " + nameOf(record), Body: body}, nil
}

func (v *reviews) days(r *http.Request, record *site.Record) (w job.Window, chosen string, asked bool, err error) {
	now := v.Now().In(record.Zone())
	query := r.URL.Query()
	if query.Get("from") == "" && query.Get("to") == "" {
		w, chosen, err = job.ColdestWeek(r.Context(), v.Store, record, now, nil)
		return w, chosen, false, err
	}
	given, err := parseWindow(query, dayOf(now))
	return given.Window, "the days asked for", true, err
}

// of returns a review, made once for all who ask for the same at the same time.
func (v *reviews) of(ctx context.Context, record *site.Record, w job.Window, chosen string) (*review.Review, error) {
	revision, err := store.Revision(ctx, v.Store, record.ID, w.From.Add(-beforeReview), w.To.Add(afterWindow))
	if err != nil {
		return nil, fmt.Errorf("read revision of site %q: %w", record.ID, err)
	}
	key := reviewKey{record.ID, w.From.Unix(), w.To.Unix(), revision}
	if k, ok := v.kept.Get(key); ok && sameRecord(k.record, record) && k.Chosen == chosen && v.Now().Sub(k.made).Abs() < reviewLasts {
		return k.Review, nil
	}
	made := v.making.DoChan(fmt.Sprint(key, chosen), func() (any, error) {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), answerPatience)
		defer cancel()
		r, err := job.Review(ctx, v.Store, record, w, chosen, v.Watched, nil)
		if err == nil {
			v.kept.Add(key, &keptReview{r, record, v.Now()})
		}
		return r, err
	})
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case m := <-made:
		r, _ := m.Val.(*review.Review)
		return r, m.Err
	}
}

// WriteReview writes a review as a page that stands alone: it refers to nothing else.
func WriteReview(out io.Writer, r *review.Review) error {
	files, err := loadAssets()
	if err != nil {
		return err
	}
	all, err := parseTemplates()
	if err != nil {
		return err
	}
	body := reviewBodyOf(r)
	body.Style = template.CSS(append(files["coldweek.css"].body, files["review.css"].body...)) // ours, without input
	if err := all["review"].ExecuteTemplate(out, "alone", body); err != nil {
		return fmt.Errorf("write review of site %q: %w", r.Site, err)
	}
	return nil
}

func reviewBodyOf(r *review.Review) *reviewBody {
	b := &reviewBody{
		ID: r.Site, Name: r.Name, Period: r.Period(), Chosen: r.Chosen, HowCold: printed(r.HowCold()),
		Empty: r.Coverage == 0 && r.Cold.MeanC == nil,
		Scores: []score{
			{string(review.Good), review.Good.Words(), r.Counts.Good},
			{string(review.Look), "to look at", r.Counts.Look},
			{string(review.NotKnown), review.NotKnown.Words(), r.Counts.NotKnown},
		},
	}
	if b.Name == "" {
		b.Name = r.Site
	}
	for i := range r.Points {
		b.Points = append(b.Points, lineOf(&r.Points[i]))
	}
	if n := r.Night; n != nil {
		b.Night = &nightLine{When: n.From.Format("Mon 2 Jan 15:04") + " to " + n.To.Format("15:04"), Beyond: printed(n.Beyond())}
		for _, f := range n.Figures() {
			b.Night.Figures = append(b.Night.Figures, review.Figure{Name: f.Name, Number: printed(f.Number)})
		}
	}
	for _, f := range r.Open() {
		b.Open = append(b.Open, openLine{f.Severity, printed(f.Title), f.Since.In(r.From.Location()).Format("Mon 2 Jan 15:04")})
	}
	return b
}

func lineOf(p *review.Point) pointLine {
	l := pointLine{State: string(p.State), Words: p.State.Words(), Name: p.Name, Limit: printed(p.Limit.Text), Held: printed(p.Held()),
		Says: printed(p.Says), Caution: printed(p.Caution)}
	if p.Value != nil || p.State != review.Good {
		l.Number = measured(p.Value, p.Decimals, p.Unit).String()
	}
	if p.Low != nil && p.High != nil {
		l.Interval = number(*p.Low, p.Decimals) + " to " + number(*p.High, p.Decimals)
	}
	for _, next := range p.Next {
		l.Next = append(l.Next, printed(next))
	}
	return l
}

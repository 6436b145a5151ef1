package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/sync/singleflight"

	"coldweek/analysis/job"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

const (
	// keptAnswers bounds the answers kept; one of a year takes some 3 MB.
	keptAnswers = 40
	// answerLasts is for how long an answer is taken as true without asking whether
	// readings came since.
	answerLasts = 2 * time.Minute
	// longAnswer is from how many days on an answer that is out of date is shown once
	// more, while the next is made.
	longAnswer = 62
	// answerWait is how long a page waits for an answer that is being made; then it
	// says so, and comes again.
	answerWait = 4 * time.Second
	// answerPatience bounds the making of an answer nobody waits for any more.
	answerPatience = 2 * time.Minute
	// A day takes readings of these margins beside it; see analysis/job.
	beforeWindow, afterWindow = 6 * time.Hour, 3 * time.Hour
)

// answers keeps what was found for whole days of plants. To put a year together
// takes a tenth of a second and more, on small machines seconds.
type answers struct {
	Options
	kept   *lru.Cache[answerKey, *answer]
	making singleflight.Group
	turns  chan struct{}
	wait   time.Duration
}

// errNotYet says that an answer is still being made.
var errNotYet = errors.New("the days are still being put together")

// answerKey names an answer.
type answerKey struct {
	site     string
	from, to int64
	depth    depth
}

// depth is how much an answer tells: each of what some pages need, as fits take
// half of the time and months a tenth.
type depth int

const (
	withoutFits depth = iota // with months
	withFits
)

func keyOf(record *site.Record, w job.Window, d depth) answerKey {
	return answerKey{record.ID, w.From.Unix(), w.To.Unix(), d}
}

// answer is what was found for a window.
type answer struct {
	*job.Result
	Made   time.Time
	hours  *hourly
	flows  map[string]flowSpread // by date
	months []monthly             // of windows longer than longAnswer days, without fits

	record   *site.Record
	revision int64
	checked  time.Time
}

func newAnswers(o Options) (*answers, error) {
	kept, err := lru.New[answerKey, *answer](keptAnswers)
	if err != nil {
		return nil, err
	}
	return &answers{Options: o, kept: kept, turns: make(chan struct{}, max(1, runtime.GOMAXPROCS(0)-1)), wait: answerWait}, nil
}

// of returns the answer for a window of whole days.
func (a *answers) of(ctx context.Context, record *site.Record, w job.Window, d depth) (*answer, error) {
	key := keyOf(record, w, d)
	if known, ok := a.kept.Get(key); ok && sameRecord(known.record, record) {
		now := a.Now()
		if now.Sub(known.checked).Abs() < answerLasts {
			return known, nil
		}
		revision, err := a.revision(ctx, record, w)
		if err != nil {
			return nil, err
		}
		if revision == known.revision {
			again := *known
			again.checked = now
			a.kept.Add(key, &again)
			return &again, nil
		}
		if (period{w.From, w.To}).days() > longAnswer {
			a.make(key, record, w)
			return known, nil
		}
	}
	return a.await(ctx, a.make(key, record, w))
}

// prepare makes the answers that somebody will ask for, but for those that are kept,
// up to date or not.
func (a *answers) prepare(record *site.Record, w job.Window) {
	for _, d := range []depth{withoutFits, withFits} {
		key := keyOf(record, w, d)
		if known, ok := a.kept.Peek(key); !ok || !sameRecord(known.record, record) {
			a.make(key, record, w)
		}
	}
}

func (a *answers) await(ctx context.Context, made <-chan singleflight.Result) (*answer, error) {
	late := time.NewTimer(a.wait)
	defer late.Stop()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-late.C:
		return nil, errNotYet
	case m := <-made:
		if m.Err != nil {
			return nil, m.Err
		}
		return m.Val.(*answer), nil
	}
}

// make makes an answer once for all who ask, and to its end even when they have
// gone: they come again.
func (a *answers) make(key answerKey, record *site.Record, w job.Window) <-chan singleflight.Result {
	return a.making.DoChan(fmt.Sprint(key), func() (any, error) {
		a.turns <- struct{}{}
		defer func() { <-a.turns }()
		ctx, cancel := context.WithTimeout(context.Background(), answerPatience)
		defer cancel()
		revision, err := a.revision(ctx, record, w)
		if err != nil {
			return nil, err
		}
		made, err := a.put(ctx, record, w, key.depth)
		if err != nil {
			a.Logger.LogAttrs(ctx, slog.LevelError, "put days together", slog.String("site", record.ID), slog.Any("error", err))
			return nil, err
		}
		made.record, made.revision, made.checked = record, revision, made.Made
		a.kept.Add(key, made)
		return made, nil
	})
}

// put puts the days of a window together.
func (a *answers) put(ctx context.Context, record *site.Record, w job.Window, d depth) (*answer, error) {
	put := job.CountWithDays
	if d == withFits {
		put = job.AnalyseWithDays
	}
	result, days, err := put(ctx, a.Store, record, w, nil)
	if err != nil {
		return nil, err
	}
	made := &answer{Made: a.Now(), Result: result, hours: hoursOf(days), flows: flowsOf(days)}
	if d == withoutFits && len(days) > longAnswer {
		made.months = monthsOf(record, days)
	}
	return made, nil
}

func (a *answers) revision(ctx context.Context, record *site.Record, w job.Window) (int64, error) {
	revision, err := store.Revision(ctx, a.Store, record.ID, w.From.Add(-beforeWindow), w.To.Add(afterWindow))
	if err != nil {
		return 0, fmt.Errorf("read revision of site %q: %w", record.ID, err)
	}
	return revision, nil
}

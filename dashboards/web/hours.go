package web

import (
	"context"
	"math"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// keptHours bounds the hours kept; those of a year take 0.7 MB.
const keptHours = 40

// hourly is what is known of each hour of some days. NaN is not known.
type hourly struct {
	unixMS                              []int64 // of the beginnings
	outdoorC, roomC                     []float64
	flowC, returnC, targetC, steadyOutC []float64 // of settled heating
	heatW, powerW                       []float64

	record   *site.Record
	revision int64
	checked  time.Time
}

// hourBook keeps the hours of windows.
type hourBook struct {
	answers *answers
	kept    *lru.Cache[answerKey, *hourly]
}

func newHourBook(a *answers) (*hourBook, error) {
	kept, err := lru.New[answerKey, *hourly](keptHours)
	return &hourBook{a, kept}, err
}

// of returns the hours of a window of whole days.
func (b *hourBook) of(ctx context.Context, record *site.Record, w job.Window) (*hourly, error) {
	key := keyOf(record, w, withoutFits)
	now := b.answers.Now()
	known, ok := b.kept.Get(key)
	if ok && sameRecord(known.record, record) && now.Sub(known.checked).Abs() < answerLasts {
		return known, nil
	}
	revision, err := b.answers.revision(ctx, record, w)
	if err != nil {
		return nil, err
	}
	if ok && sameRecord(known.record, record) && known.revision == revision {
		again := *known
		again.checked = now
		b.kept.Add(key, &again)
		return &again, nil
	}
	days, err := job.Days(ctx, b.answers.Store, record, w, nil)
	if err != nil {
		return nil, err
	}
	made := hoursOf(days)
	made.record, made.revision, made.checked = record, revision, now
	b.kept.Add(key, made)
	return made, nil
}

func hoursOf(days []siteday.Day) *hourly {
	h := &hourly{}
	for i := range days {
		for k := range days[i].Sums.Hours {
			h.add(&days[i].Sums.Hours[k])
		}
	}
	return h
}

func (h *hourly) add(of *siteday.Hour) {
	h.unixMS = append(h.unixMS, of.From.UnixMilli())
	h.outdoorC = append(h.outdoorC, meanOrNaN(of.Outdoor))
	h.roomC = append(h.roomC, meanOrNaN(of.Room))
	h.flowC = append(h.flowC, meanOrNaN(of.Steady.Flow))
	h.returnC = append(h.returnC, meanOrNaN(of.Steady.Return))
	h.targetC = append(h.targetC, meanOrNaN(of.Steady.Target))
	h.steadyOutC = append(h.steadyOutC, meanOrNaN(of.Steady.Outdoor))
	heatW, powerW := math.NaN(), math.NaN()
	if of.CoveredS > 0 {
		heatW, powerW = (of.SpaceJ+of.HotWaterJ)/of.CoveredS, of.ElectricityJ/of.CoveredS
	}
	h.heatW, h.powerW = append(h.heatW, heatW), append(h.powerW, powerW)
}

// flowSpread is between which flows nine in ten and one in ten readings of settled
// heating lay.
type flowSpread struct{ p10LPH, p90LPH float64 }

// flowsOf returns the spread of each day's flow by date.
func flowsOf(days []siteday.Day) map[string]flowSpread {
	flows := map[string]flowSpread{}
	for i := range days {
		low, known := days[i].Sums.Flow.Quantile(0.1)
		high, _ := days[i].Sums.Flow.Quantile(0.9)
		if known {
			flows[days[i].Date] = flowSpread{low, high}
		}
	}
	return flows
}

func meanOrNaN(m siteday.Mean) float64 {
	if v, ok := m.Of(); ok {
		return v
	}
	return math.NaN()
}

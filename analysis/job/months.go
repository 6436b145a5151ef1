package job

import (
	"context"
	"time"

	"coldweek/analysis/season"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// Month is a calendar month of a site: its window in local days.
func Month(year int, month time.Month, zone *time.Location) Window {
	return Window{From: StartOfDay(year, month, 1, zone), To: StartOfDay(year, month+1, 1, zone)}
}

// before is the window that many calendar months before a month's.
func (w Window) before(months int) Window {
	return Month(w.From.Year(), w.From.Month()-time.Month(months), w.From.Location())
}

// Months is a month with those it is compared with. Of each, what needs a fit is
// left out but for This's heat loss, so it costs little where the days are stored.
// The rest is what Summarise gives.
type Months struct {
	This, Last, YearAgo *Result
	// Held against the months before in the same weather.
	AgainstLast, AgainstYearAgo season.Comparison
}

// Compared answers for a calendar month, the one before and that of a year ago.
func Compared(ctx context.Context, st Store, record *site.Record, month Window, progress Progress) (*Months, error) {
	r, err := newReader(ctx, st, record)
	if err != nil {
		return nil, err
	}
	windows := []Window{month, month.before(1), month.before(12)}
	var days [3][]siteday.Day
	var results [3]*Result
	for i, w := range windows {
		if days[i], err = r.days(ctx, w, progress); err != nil {
			return nil, err
		}
		sums := siteday.Merge(days[i])
		results[i] = counted(record, w, days[i], &sums, sourceOf(r.channels))
		if i == 0 {
			results[i].Warnings = Doubts(record, days[i])
			results[i].lose(record, &sums, days[i])
		}
	}
	m := &Months{This: results[0], Last: results[1], YearAgo: results[2]}
	base := m.This.HeatLoss.BaseC
	m.AgainstLast = season.Compare(days[0], days[1], base)
	m.AgainstYearAgo = season.Compare(days[0], days[2], base)
	return m, nil
}

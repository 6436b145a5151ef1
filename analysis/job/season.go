package job

import (
	"context"
	"time"

	"coldweek/analysis/season"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// Season looks beyond a period: what the plant is expected to take in whole
// seasons, what the period cost, and how it compares with another one.
type Season struct {
	Site string    `json:"site"`
	From time.Time `json:"from"`
	To   time.Time `json:"to"` // exclusive
	// SPF of the period and what it, and those of the seasons, are measured at.
	SPF        *float64           `json:"spf"`
	Boundary   *string            `json:"boundary"`
	Seasons    []ExpectedSeason   `json:"seasons"`
	Cost       season.Cost        `json:"cost"`
	Comparison *season.Comparison `json:"comparison"` // null: no other period was given
}

// ExpectedSeason is a projection into one climate, or why there is none.
type ExpectedSeason struct {
	Climate    string             `json:"climate"`
	Projection *season.Projection `json:"projection"`
	// Money is at the period's average price.
	Money *season.Interval `json:"money"`
	Why   string           `json:"why,omitempty"`
}

// OwnHours names the climate that is the period's own hours.
const OwnHours = "own"

// LookAhead answers for a period, and against another one if that is given.
func LookAhead(ctx context.Context, st Store, record *site.Record, w Window, against *Window, progress Progress) (*Season, error) {
	r, days, err := read(ctx, st, record, w, progress)
	if err != nil {
		return nil, err
	}
	answer := Summarise(record, w, days, sourceOf(r.channels))
	s := &Season{
		Site: record.ID, From: w.From, To: w.To, SPF: answer.Efficiency.Overall, Boundary: answer.Efficiency.Boundary,
		Cost: answer.Cost, Seasons: seasonsOf(answer, days),
	}
	if against == nil {
		return s, nil
	}
	others, err := r.days(ctx, *against, progress)
	if err != nil {
		return nil, err
	}
	s.Comparison = new(season.Compare(days, others, answer.HeatLoss.BaseC))
	return s, nil
}

func seasonsOf(answer *Result, days []siteday.Day) []ExpectedSeason {
	measured := season.Site{Days: days}
	if answer.HeatLoss.WPerK != nil {
		measured.Need = season.Need(answer.Needed)
	}
	if e := answer.Efficiency; e.Overall != nil && e.Low != nil && e.High != nil {
		measured.MeterRatio = (*e.High - *e.Low) / 2 / *e.Overall
	}
	own := season.Own(days)
	own.Name = OwnHours
	var seasons []ExpectedSeason
	for _, climate := range append([]season.Climate{own}, season.Standard()...) {
		expected := ExpectedSeason{Climate: climate.Name}
		projection, err := measured.Project(climate)
		if err != nil {
			expected.Why = err.Error()
		} else {
			expected.Projection = projection
			expected.Money = moneyOf(projection.ElectricityKWh, answer.Cost.PricePerKWh)
		}
		seasons = append(seasons, expected)
	}
	return seasons
}

func moneyOf(kWh season.Interval, pricePerKWh *float64) *season.Interval {
	if pricePerKWh == nil {
		return nil
	}
	return &season.Interval{Value: kWh.Value * *pricePerKWh, Low: kWh.Low * *pricePerKWh, High: kWh.High * *pricePerKWh}
}

// costOf prices what the electricity meter counted.
func costOf(record *site.Record, s *siteday.Sums) season.Cost {
	heatJ, _ := metersOf(record).Measured(s)
	return season.CostOf(s.Hours, heatJ, record.Zone(), tariffOf(record.Tariff))
}

func tariffOf(t *site.Tariff) season.Tariff {
	if t == nil {
		return season.Tariff{}
	}
	tariff := season.Tariff{
		Currency: t.Currency, PricePerKWh: t.PricePerKWh, CarbonKgPerKWh: t.CarbonKgPerKWh,
		Former: season.Former{Fuel: t.FormerFuel, PricePerKWh: t.FormerPricePerKWh, Efficiency: t.FormerEfficiency, CarbonKgPerKWh: t.FormerCarbonKgKWh},
	}
	for _, rate := range t.TimeOfUse {
		tariff.Spans = append(tariff.Spans, season.PriceSpan{FromMinute: minuteOf(rate.From), ToMinute: minuteOf(rate.To), PricePerKWh: rate.PricePerKWh})
	}
	return tariff
}

// minuteOf reads a time of day that the record's check has passed.
func minuteOf(clock string) int {
	at, err := time.Parse("15:04", clock)
	if err != nil {
		return 0
	}
	return at.Hour()*60 + at.Minute()
}

package web

import (
	"context"
	"math"
	"net/http"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/trace"
	"coldweek/dashboards/chart"
	"coldweek/ingest/site"
)

// fortnightDays is how many days are set side by side.
const fortnightDays = 14

// dayLine is a line of the table of days.
type dayLine struct {
	Query string // of the day's own page
	Name  string
	Shown bool // it is in the period looked at

	Net, HotWater, Electricity, Ratio, Outdoors, Starts, Defrosts, Coverage quantity
}

// fortnightOf returns the days to set beside a period: the newest when it is
// among them, else those that end with it.
func fortnightOf(p period, now time.Time) job.Window {
	end := daysOn(now, 1)
	if begin := daysOn(end, -fortnightDays); p.from.Before(begin) {
		end = daysOn(p.to.Add(-time.Millisecond), 1)
	}
	return job.Window{From: daysOn(end, -fortnightDays), To: end}
}

// fortnight returns the days beside a period in brief.
func (s *server) fortnight(ctx context.Context, record *site.Record, p period, now time.Time) ([]job.Day, error) {
	w := fortnightOf(p, now)
	days, err := s.days(ctx, record, w, now)
	if err != nil {
		return nil, err
	}
	return job.Summarise(record, w, days, trace.NoHeat).Days, nil
}

func dayLines(days []job.Day, p period, zone *time.Location) []dayLine {
	table := make([]dayLine, len(days))
	for i, d := range days {
		from := parseDate(d.Date, zone)
		coverage := d.Coverage
		table[i] = dayLine{
			Query: wholeDay(from).query(), Name: from.Format("Mon 2 Jan"), Shown: from.Before(p.to) && daysOn(from, 1).After(p.from),
			Net: energy(d.NetKWh), HotWater: energy(d.HotWaterKWh), Electricity: energy(d.ElectricityKWh),
			Ratio: quotient(d.NetKWh, d.ElectricityKWh), Outdoors: celsius(d.OutdoorC),
			Starts: counted(d.Starts), Defrosts: counted(d.Defrosts), Coverage: percent(&coverage),
		}
	}
	return table
}

func quotient(heatKWh, electricityKWh *float64) quantity {
	if heatKWh == nil || electricityKWh == nil || *electricityKWh <= 0 {
		return quantity{Value: unknown}
	}
	ratio := *heatKWh / *electricityKWh
	return measured(&ratio, 2, "")
}

// barsOf draws the days.
func barsOf(record *site.Record, days []job.Day, id string, width float64) []byte {
	bars := chart.DayBars{
		ID: id, Title: nameOf(record) + ": heat and electricity of each day",
		Size: chart.Size{Width: width, Height: 250},
	}
	for _, d := range days {
		bars.Days = append(bars.Days, chart.Day{
			Date: parseDate(d.Date, record.Zone()), Coverage: d.Coverage,
			SpaceKWh: orNaN(d.SpaceKWh), HotWaterKWh: orNaN(d.HotWaterKWh), ElectricityKWh: orNaN(d.ElectricityKWh),
		})
	}
	return bars.SVG()
}

// daysSVG draws the days beside a period alone.
func (s *server) daysSVG(r *http.Request) ([]byte, error) {
	w, err := s.wantedDrawing(r)
	if err != nil {
		return nil, err
	}
	days, err := s.fortnight(r.Context(), w.record, w.period, s.Now().In(w.record.Zone()))
	if err != nil {
		return nil, err
	}
	return barsOf(w.record, days, "days", w.width), nil
}

func orNaN(value *float64) float64 {
	if value == nil {
		return math.NaN()
	}
	return *value
}

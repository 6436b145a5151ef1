package web

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

// figure is one result with what is needed to judge it.
type figure struct {
	Name   string
	Figure quantity
	Remark string
}

// summary answers for a period up to now: for whole days from site days, as
// every longer period is a sum of days, else from the readings at hand.
func (s *server) summary(ctx context.Context, record *site.Record, span *job.Span, p period, now time.Time) (*job.Result, error) {
	days := []siteday.Day{siteday.Sum(span.Trace, span.Operation, p.from.Format(dateLayout), span.From, span.To)}
	if p.whole() {
		var err error
		if days, err = s.days(ctx, record, job.Window{From: p.from, To: p.to}, now); err != nil {
			return nil, err
		}
	}
	source := span.Trace.HeatSource
	if _, ok := span.Trace.Column(ingest.Channel(ingest.HeatRegister)); ok {
		source = trace.HeatFromRegister
	}
	result := job.Count(record, job.Window{From: span.From, To: span.To}, days, source)
	result.Warnings = job.Doubts(record, days)
	return result, nil
}

// days returns the site days of a window, today's up to now and none after it.
func (s *server) days(ctx context.Context, record *site.Record, w job.Window, now time.Time) ([]siteday.Day, error) {
	today := dayOf(now)
	past := job.Window{From: w.From, To: siteday.Earlier(w.To, today)}
	var days []siteday.Day
	if past.From.Before(past.To) {
		var err error
		if days, err = job.Days(ctx, s.Store, record, past, nil); err != nil {
			return nil, err
		}
	}
	if !w.From.After(today) && w.To.After(today) {
		seen, err := s.looks.close(ctx, record)
		if err != nil {
			return nil, err
		}
		days = append(days, seen.day)
	}
	return days, nil
}

// headline are the figures that a reader looks for first.
func headline(r *job.Result) []figure {
	return []figure{
		{"Heat delivered", energy(r.Heat.NetKWh), heatRemark(r)},
		{"Electricity", energy(r.Electricity.TotalKWh), electricityRemark(r)},
		{"SPF", measured(r.Efficiency.Overall, 2, ""), efficiencyRemark(r)},
		{"Starts", counted(r.Cycling.Starts), cyclingRemark(r)},
	}
}

// particulars are the figures that explain the headline.
func particulars(r *job.Result) []figure {
	coverage := r.Coverage
	return []figure{
		{"Defrosts", counted(r.Defrost.Count), defrostRemark(r)},
		{"Flow while heating", litresPerHour(r.Flow.MedianLPH), flowRemark(r)},
		{"Outdoors", celsius(meanOfDays(r.Days, func(d job.Day) *float64 { return d.OutdoorC })), "mean"},
		{"Measured", percent(&coverage), "of the time, heat and electricity both"},
	}
}

// remarks joins what there is to say.
func remarks(parts ...string) string {
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, ", ")
}

// with says a quantity in a remark, nothing if it is not known.
func with(format string, q quantity) string {
	if !q.Known() {
		return ""
	}
	return fmt.Sprintf(format, q)
}

// some is like with, and leaves out what is nothing.
func some(format string, q quantity) string {
	if strings.Trim(q.Value, "0.") == "" {
		return ""
	}
	return with(format, q)
}

func heatRemark(r *job.Result) string {
	return remarks(with("±"+nbsp+"%s (95"+nbsp+"%%)", measured(r.Heat.UncertaintyPct, 0, "%")), with("space %s", energy(r.Heat.SpaceKWh)),
		some("hot water %s", energy(r.Heat.HotWaterKWh)), some("less %s drawn by defrosts", energy(r.Heat.DefrostDrawnKWh)))
}

func electricityRemark(r *job.Result) string {
	e := r.Electricity
	return remarks(with("space %s", energy(e.SpaceKWh)), some("hot water %s", energy(e.HotWaterKWh)),
		some("defrosts %s", energy(e.DefrostKWh)), some("standby %s", energy(e.StandbyKWh)), some("of it backup heater %s", energy(e.BackupKWh)))
}

func efficiencyRemark(r *job.Result) string {
	e := r.Efficiency
	interval := ""
	if e.Low != nil && e.High != nil {
		interval = fmt.Sprintf("%s to %s (95%s%%)", number(*e.Low, 2), number(*e.High, 2), nbsp)
	}
	boundary := ""
	if e.Boundary != nil {
		boundary = "boundary " + *e.Boundary
	}
	return remarks(interval, with("space %s", measured(e.Space, 2, "")), with("hot water %s", measured(e.HotWater, 2, "")), boundary)
}

func cyclingRemark(r *job.Result) string {
	c := r.Cycling
	median := ""
	if c.MedianRunMinutes != nil {
		median = "median run " + minutes(c.MedianRunMinutes)
	}
	return remarks(with("in %s of running", measured(c.RunHours, 1, "h")), median, some("%s shorter than 10"+nbsp+"min", counted(c.ShortRuns)))
}

func defrostRemark(r *job.Result) string {
	d := r.Defrost
	if d.Count == nil || *d.Count == 0 {
		return ""
	}
	median := ""
	if d.MedianMinutes != nil {
		median = "median " + minutes(d.MedianMinutes)
	}
	return remarks(median, with("%s of the running time", percent(d.ShareOfRunTime)), with("%s drawn", energy(d.DrawnKWh)))
}

func flowRemark(r *job.Result) string {
	f := r.Flow
	return remarks(with("difference to return %s", measured(f.MedianDifferenceK, 1, "K")), with("commissioned %s", litresPerHour(f.CommissionedLPH)),
		with("design %s", litresPerHour(f.DesignLPH)), with("minimum %s", litresPerHour(f.MinimumLPH)))
}

// meanOfDays averages what days know, each as much as any other.
func meanOfDays(days []job.Day, of func(job.Day) *float64) *float64 {
	total, n := 0.0, 0
	for _, d := range days {
		if v := of(d); v != nil && !math.IsNaN(*v) {
			total, n = total+*v, n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean := total / float64(n)
	return &mean
}

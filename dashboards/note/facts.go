package note

import (
	"context"
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/season"
	"coldweek/analysis/watch"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
)

// Month is a calendar month.
type Month struct {
	Year  int
	Month time.Month
}

const monthLayout = "2006-01"

// ParseMonth reads a month such as 2026-01.
func ParseMonth(text string) (Month, error) {
	at, err := time.Parse(monthLayout, text)
	if err != nil {
		return Month{}, fmt.Errorf("month %q: write it as 2026-01", text)
	}
	return Month{at.Year(), at.Month()}, nil
}

// MonthOf is the month of a time in its own zone.
func MonthOf(at time.Time) Month { return Month{at.Year(), at.Month()} }

func (m Month) String() string { return m.first().Format(monthLayout) }

func (m Month) first() time.Time { return time.Date(m.Year, m.Month, 1, 12, 0, 0, 0, time.UTC) }

// Before is the month so many months earlier.
func (m Month) Before(months int) Month { return MonthOf(m.first().AddDate(0, -months, 0)) }

// Window is the month in the local days of a site.
func (m Month) Window(record *site.Record) job.Window { return m.In(record.Zone()) }

// In is the month in the days of a time zone.
func (m Month) In(zone *time.Location) job.Window { return job.Month(m.Year, m.Month, zone) }

// Facts is all that a note is made of.
type Facts struct {
	Record   *site.Record
	Month    Month
	Written  time.Time // when; its date in the site's zone is printed
	Engineer bool      // with the numbers behind it

	This, Last, Year     *job.Result
	AgainstLast, Against season.Comparison
	Findings             []Noticed
	Watched              bool // somebody looked for findings: none means that there were none

	Issue    int       // 1 for the first
	Previous *Previous // what this one replaces
}

// Noticed is a finding and whether the engineer muted it.
type Noticed struct {
	Finding watch.Finding
	Muted   bool
}

// Previous is what is known of the issue before.
type Previous struct {
	Issue   int             `json:"issue"`
	Date    time.Time       `json:"date"` // of its release
	Figures map[string]Main `json:"figures"`
}

// Main is a main figure of a note, by which issues are compared.
type Main struct {
	Value    float64 `json:"value"`
	Decimals int     `json:"decimals"`
}

// Gather reads the facts of a month. Whether the site was watched then is for the
// caller to say; findings that are stored count as a sign of it.
func Gather(ctx context.Context, st job.WatchStore, record *site.Record, month Month, now time.Time, progress job.Progress) (*Facts, error) {
	window := month.Window(record)
	months, err := job.Compared(ctx, st, record, window, progress)
	if err != nil {
		return nil, err
	}
	findings, err := job.ReadFindings(ctx, st, record.ID, window.From, window.To)
	if err != nil {
		return nil, err
	}
	actions, err := st.Actions(ctx, record.ID)
	if err != nil {
		return nil, fmt.Errorf("read actions of site %q: %w", record.ID, err)
	}
	f := &Facts{
		Record: record, Month: month, Written: now.In(record.Zone()), Issue: 1, Watched: len(findings) > 0,
		This: months.This, Last: months.Last, Year: months.YearAgo, AgainstLast: months.AgainstLast, Against: months.AgainstYearAgo,
	}
	for _, finding := range findings {
		attitude := store.AttitudeTo(finding.Kind, finding.Since, actions, now)
		f.Findings = append(f.Findings, Noticed{finding, attitude.Muted})
	}
	return f, nil
}

// Language is the tag that a record asks for.
func Language(record *site.Record) string {
	if record.Note == nil || record.Note.Language == "" {
		return "en"
	}
	return record.Note.Language
}

// house is what people call it.
func house(record *site.Record) string {
	if name := strings.TrimSpace(record.Name); name != "" {
		return name
	}
	return record.ID
}

// Package store says what a place for readings must do. store/local keeps
// them in one SQLite file, store/influx in InfluxDB.
//
// The contract: Append returns when the readings are safe on disk. The same
// reading twice changes nothing; a later value for the same site, channel and
// time (to the millisecond) replaces the earlier one; any age is accepted.
// Readings further than ingest.MaxAhead ahead of the clock are the caller's
// to refuse.
package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"coldweek/ingest"
)

// ErrReading is wrapped by Append's error when a reading of the batch can never
// be kept, whatever the state of disk and database. Nothing of the batch was
// kept then; every other error may pass when it is tried again.
var ErrReading = errors.New("a reading that cannot be kept")

// Extent is what a channel holds.
type Extent struct {
	Channel     ingest.Channel
	First, Last time.Time
}

// Span is from the first reading of all channels to the last; both are zero of none.
func Span(extents []Extent) (first, last time.Time) {
	for i, e := range extents {
		if i == 0 || e.First.Before(first) {
			first = e.First
		}
		if e.Last.After(last) {
			last = e.Last
		}
	}
	return first, last
}

// Period is a time from From up to, and without, To.
type Period struct{ From, To time.Time }

// Refused is a quarantined message with its place in the quarantine.
type Refused struct {
	ID int64
	ingest.Rejected
}

// QuarantineCount is how many messages were refused for a reason, those
// already dropped from the bounded quarantine included.
type QuarantineCount struct {
	Reason ingest.Reason
	Total  int64 // ever refused
	Kept   int64 // still there to look at
}

// Day is one site day as the analysis wrote it. The store does not look into
// it. Fields are its figures by name, so that other tools can draw them.
type Day struct {
	Site       string
	Date       string // local calendar date, YYYY-MM-DD
	Definition int    // version of the analysis that computed it
	Revision   int64  // the site's revision it was computed from
	Fields     map[string]float64
	Detail     []byte
}

// Severity says how much a finding matters.
type Severity string

// Severities, from the least.
const (
	Info      Severity = "info"
	Attention Severity = "attention"
	Urgent    Severity = "urgent"
)

// Severities returns every severity, from the least.
func Severities() []Severity { return []Severity{Info, Attention, Urgent} }

// Finding is one thing noticed about a site, from its beginning to its end. The
// store does not look into Detail. Fields are the evidence by name, so that
// other tools can draw it.
type Finding struct {
	Site     string
	Kind     string    // what it is and of which part, such as "low_flow" or "sensor_stuck/room_temp"
	Since    time.Time // with site and kind, what makes it this one
	Until    time.Time // zero while it lasts
	Severity Severity
	Fields   map[string]float64
	Detail   []byte
}

// Check says what is wrong with a finding.
func (f Finding) Check() error {
	switch {
	case f.Site == "" || f.Kind == "":
		return fmt.Errorf("site %q, kind %q: both need a name", f.Site, f.Kind)
	case f.Since.IsZero():
		return errors.New("a finding needs its beginning")
	case !slices.Contains(Severities(), f.Severity):
		return fmt.Errorf("severity %q: use one of %v", f.Severity, Severities())
	case !f.Until.IsZero() && f.Until.Before(f.Since):
		return fmt.Errorf("it ends at %s, before it begins", f.Until.UTC().Format(time.RFC3339))
	}
	return nil
}

// Readings keeps readings.
type Readings interface {
	// Append makes the batch durable and says how many readings were new or
	// changed a value, or more than that where to know would mean to ask
	// another machine. It is all or nothing: an error, a cancelled context or
	// one impossible reading (a value that is not finite, no site, no channel)
	// leaves the whole batch unstored.
	Append(ctx context.Context, batch []ingest.Reading) (changed int64, err error)

	// Scan returns one column for each channel asked for, in that order, with
	// from <= time < to. A channel without readings gives an empty column.
	// Columns of one scan may share their times: do not write to them.
	Scan(ctx context.Context, site string, channels []ingest.Channel, from, to time.Time) ([]ingest.Column, error)

	// Extents returns the site's channels in alphabetical order.
	Extents(ctx context.Context, site string) ([]Extent, error)

	// Sites returns the sites that have readings, in alphabetical order.
	Sites(ctx context.Context) ([]string, error)
}

// Quarantine keeps what could not become a reading: bounded, oldest dropped.
type Quarantine interface {
	Refuse(ctx context.Context, items []ingest.Rejected) error
	// Refusals returns the newest first.
	Refusals(ctx context.Context, limit int) ([]Refused, error)
	RefusalCounts(ctx context.Context) ([]QuarantineCount, error)
}

// Revision returns the revision of one period, see Days.
func Revision(ctx context.Context, st Days, site string, from, to time.Time) (int64, error) {
	revisions, err := st.Revisions(ctx, site, []Period{{From: from, To: to}})
	if err != nil {
		return 0, err
	}
	return revisions[0], nil
}

// Days keeps site days and knows when they are out of date.
type Days interface {
	// Revisions returns for each period a number that grows whenever readings of the
	// site in it are appended or changed, 0 when there never were any. It may also
	// grow for a change within a day of the period, and when Append counted readings
	// that were there already.
	Revisions(ctx context.Context, site string, periods []Period) ([]int64, error)
	PutDays(ctx context.Context, days []Day) error
	// Days returns the stored days with fromDate <= date < toDate, ascending.
	Days(ctx context.Context, site, fromDate, toDate string) ([]Day, error)
}

// Deed is what an engineer can do about a finding.
type Deed string

// The deeds.
const (
	Acknowledge Deed = "acknowledge" // seen; stays until it ends by itself
	Mute        Deed = "mute"        // not told of again for a while
	Unmute      Deed = "unmute"
	Remark      Deed = "remark"
)

// Deeds returns every deed.
func Deeds() []Deed { return []Deed{Acknowledge, Mute, Unmute, Remark} }

// Action is what an engineer did about a site's findings of one kind.
type Action struct {
	Site  string
	Kind  string
	At    time.Time // with site and kind, what makes it this one
	Deed  Deed
	By    string
	Note  string
	Until time.Time // of a mute; zero for good
}

// Check says what is wrong with an action.
func (a Action) Check() error {
	switch {
	case a.Site == "" || a.Kind == "":
		return fmt.Errorf("site %q, kind %q: both need a name", a.Site, a.Kind)
	case a.At.IsZero():
		return errors.New("an action needs its time")
	case !slices.Contains(Deeds(), a.Deed):
		return fmt.Errorf("deed %q: use one of %v", a.Deed, Deeds())
	}
	return nil
}

// Findings keeps what was noticed about sites and what was done about it.
type Findings interface {
	// PutFindings stores the findings, each in place of the one with its site,
	// kind and beginning (to the millisecond).
	PutFindings(ctx context.Context, findings []Finding) error
	// Findings returns those that began before to and had not ended by from,
	// in the order they began, then by kind.
	Findings(ctx context.Context, site string, from, to time.Time) ([]Finding, error)
	// AddAction keeps an action. Nothing else changes one, so that people and
	// programs can act at the same time.
	AddAction(ctx context.Context, action Action) error
	// Actions returns a site's actions in the order of their times.
	Actions(ctx context.Context, site string) ([]Action, error)
}

// Store is all of it.
type Store interface {
	Readings
	Quarantine
	Days
	Findings
	Close() error
}

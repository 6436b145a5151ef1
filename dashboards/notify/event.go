package notify

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"coldweek/ingest/store"
)

// What happened to a finding.
type What string

// What can happen.
const (
	Opened   What = "opened"
	Raised   What = "raised" // to a higher severity
	Ended    What = "ended"
	Reopened What = "reopened" // after it had ended; Put makes it of Opened
)

// Event is one thing that happened to a finding, with the finding as it is then.
// Site, kind and beginning make the finding; with what happened, for Raised the
// severity, and how often the finding has come, they make the event.
type Event struct {
	What     What           `json:"what"`
	Round    int            `json:"round,omitempty"` // how often the finding has come, where that is more than once; set by Put
	At       time.Time      `json:"at"`              // when it was noticed; the time of Put when zero
	ID       string         `json:"id,omitempty"`
	Site     string         `json:"site"`
	SiteName string         `json:"site_name,omitempty"`
	Kind     string         `json:"kind"` // such as "low_flow" or "room_cold/kitchen"
	Severity store.Severity `json:"severity"`
	Since    time.Time      `json:"since"`
	Until    time.Time      `json:"until,omitzero"` // zero while it lasts, Since when there was nothing after all
	Title    string         `json:"title"`
	Evidence []string       `json:"evidence,omitempty"` // a line each, the main one first
	Causes   []string       `json:"causes,omitempty"`   // likeliest first
	Next     []string       `json:"next,omitempty"`     // what to check, in order
	Caution  string         `json:"caution,omitempty"`  // where the work can hurt someone
	Basis    string         `json:"basis,omitempty"`    // what the judgement stands on
}

// Check says what is wrong with an event.
func (e *Event) Check() error {
	switch {
	case e.Site == "" || e.Kind == "":
		return fmt.Errorf("site %q, kind %q: both need a name", e.Site, e.Kind)
	case e.Since.IsZero():
		return errors.New("a finding needs its beginning")
	case e.Title == "":
		return errors.New("a finding needs its title")
	case !slices.Contains(store.Severities(), e.Severity):
		return fmt.Errorf("severity %q: use one of %v", e.Severity, store.Severities())
	case !slices.Contains([]What{Opened, Raised, Ended}, e.What):
		return fmt.Errorf("what %q: use one of %s, %s, %s", e.What, Opened, Raised, Ended)
	case e.What == Ended && e.Until.IsZero():
		return errors.New("a finding that ended needs its end")
	}
	return nil
}

// step is what tells the events of one finding apart.
func (e *Event) step() string {
	switch {
	case e.What == Raised:
		return string(e.What) + " " + string(e.Severity)
	case e.Round > 1:
		return string(e.What) + " " + strconv.Itoa(e.Round)
	}
	return string(e.What)
}

// finding names what the event is about.
func (e *Event) finding() string {
	return e.Site + "\n" + e.Kind + "\n" + strconv.FormatInt(e.Since.UnixMilli(), 10)
}

func (e *Event) key() string { return e.finding() + "\n" + e.step() }

// urgent says whether it may call someone out: an end never does.
func (e *Event) urgent() bool { return e.What != Ended && e.Severity == store.Urgent }

func (e *Event) over() bool { return !e.Until.IsZero() }

// withdrawn says whether there was nothing after all: it ends where it began.
func (e *Event) withdrawn() bool { return e.over() && !e.Until.After(e.Since) }

// place is what people call the site.
func (e *Event) place() string {
	if e.SiteName != "" {
		return e.SiteName
	}
	return e.Site
}

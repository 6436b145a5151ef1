package load

import (
	"fmt"
	"strings"
	"time"

	"coldweek/ingest"
)

// wallClock turns the local times of a file into times. In the hour that comes
// twice it needs to know which way the file runs.
type wallClock struct {
	zone *time.Location

	// What it has learned from the rows so far.
	Previous   time.Time `json:"previous"`
	Descending bool      `json:"descending"`
	Ambiguous  int64     `json:"ambiguous"` // rows in an hour that comes twice
}

var wallLayouts = [...]string{"2006-01-02T15:04:05", "2006-01-02T15:04", "02.01.2006 15:04:05", "02.01.2006 15:04"}

// parseWall reads a time without an offset: like RFC 3339, or day.month.year
// with dots, which is never written month first.
func parseWall(s string) (time.Time, bool) {
	if len(s) < len("2006-01-02T15:04") {
		return time.Time{}, false
	}
	layouts := wallLayouts[:2]
	if s[2] == '.' {
		layouts = wallLayouts[2:]
	} else if s[10] == ' ' {
		s = s[:10] + "T" + s[11:]
	}
	for _, layout := range layouts {
		if t, err := time.Parse(layout, s); err == nil {
			return t, true
		}
	}
	return time.Time{}, false
}

// parse reads a time of the file. The error is a RefusedError, and wraps
// ingest.ErrNoOffset when the zone would have helped.
func (w *wallClock) parse(cell []byte) (time.Time, error) {
	s := strings.TrimSpace(string(cell))
	if w.zone == nil {
		t, err := ingest.ParseTime(s)
		if err != nil {
			return time.Time{}, missingZone(s, err)
		}
		return t, nil
	}
	wall, local := parseWall(s)
	if !local {
		return ingest.ParseTime(s)
	}
	t, err := w.resolve(wall)
	if err == nil {
		w.learn(t)
	}
	return t, err
}

// missingZone gives the error of a local time with dots, which only a zone can
// place.
func missingZone(s string, err error) error {
	if _, local := parseWall(s); local && s[2] == '.' {
		refused := &ingest.RefusedError{Reason: ingest.BadTime, Detail: fmt.Sprintf("time %q is local", s)}
		return fmt.Errorf("%w: %w", refused, ingest.ErrNoOffset)
	}
	return err
}

// resolve finds the time at which the zone's clocks showed wall, which is
// written as if it were UTC.
func (w *wallClock) resolve(wall time.Time) (time.Time, error) {
	early, late := w.candidates(wall)
	switch {
	case early.IsZero() && late.IsZero():
		return time.Time{}, &ingest.RefusedError{Reason: ingest.BadTime, Detail: fmt.Sprintf(
			"time %s did not exist in %s: the clocks went forward", wall.Format("2006-01-02 15:04:05"), w.zone)}
	case early.Equal(late):
		return early, nil
	}
	w.Ambiguous++
	if w.Descending {
		if late.Before(w.Previous) {
			return late, nil
		}
		return early, nil
	}
	if w.Previous.IsZero() || early.After(w.Previous) || late.Before(w.Previous) {
		return early, nil
	}
	return late, nil
}

// candidates returns the first and the last time at which the clocks showed
// wall; zero times when they never did. The offsets that can be meant are those
// in force a day before and a day after.
func (w *wallClock) candidates(wall time.Time) (early, late time.Time) {
	const day = 24 * time.Hour
	_, before := wall.Add(-day).In(w.zone).Zone()
	_, after := wall.Add(day).In(w.zone).Zone()
	for _, offsetS := range [...]int{max(before, after), min(before, after)} {
		t := wall.Add(-time.Duration(offsetS) * time.Second)
		if _, inForce := t.In(w.zone).Zone(); inForce != offsetS {
			continue
		}
		if early.IsZero() {
			early = t
		}
		late = t
	}
	return early, late
}

// learn notes the way the file runs.
func (w *wallClock) learn(t time.Time) {
	if !w.Previous.IsZero() && !t.Equal(w.Previous) {
		w.Descending = t.Before(w.Previous)
	}
	w.Previous = t
}

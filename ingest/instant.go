package ingest

import (
	"errors"
	"math"
	"strings"
	"time"
)

// Oldest is the earliest time a reading can have. A clock that was never set
// starts at 1970 or at its firmware's date; houses were not watched before.
var Oldest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// newestUnixS is 2100-01-01: it keeps seconds, ms, µs and ns apart.
const newestUnixS = 4102444800

// ErrNoOffset is wrapped by ParseTime's error for a time of day that does not
// say how far it is from UTC.
var ErrNoOffset = errors.New("no offset from UTC")

// noOffsetError is a RefusedError that is ErrNoOffset too.
type noOffsetError struct{ *RefusedError }

func (e noOffsetError) Unwrap() []error { return []error{e.RefusedError, ErrNoOffset} }

// ParseTime reads a time as publishers and loggers write it: RFC 3339 with an
// offset, or Unix time (see UnixTime). As RFC 3339 section 5.6 allows, a space
// may stand for the T and letters may be small; the offset may also lack its
// colon or minutes, and the seconds may be missing, since neither can be
// misread. The error is a RefusedError of reason BadTime.
func ParseTime(s string) (time.Time, error) {
	s = strings.TrimSpace(s)
	if len(s) > 4 && s[4] == '-' {
		return parseCalendarTime(s)
	}
	unix, err := ParseNumber(s)
	if err != nil {
		return time.Time{}, badTime(s)
	}
	return UnixTime(unix)
}

func badTime(s string) *RefusedError {
	return refuse(BadTime, "time %s is neither RFC 3339 such as 2026-01-31T08:00:00+01:00 nor Unix time", quoted(strings.Clone(s)))
}

// UnixTime reads a number as the time since 1970 in s, ms, µs or ns, whichever
// puts it between 2000 and 2100; these ranges do not overlap. The error is a
// RefusedError of reason BadTime.
func UnixTime(unix float64) (time.Time, error) {
	oldestUnixS := float64(Oldest.Unix())
	for _, perSecond := range [...]float64{1, 1e3, 1e6, 1e9} {
		if unix >= oldestUnixS*perSecond && unix < newestUnixS*perSecond {
			return SecondsTime(unix / perSecond), nil
		}
	}
	if unix >= 0 && unix < oldestUnixS {
		return time.Time{}, refuse(BadTime, "time %g is before 2000 as Unix time: was the clock of the sender set?", unix)
	}
	return time.Time{}, refuse(BadTime, "time %g is no Unix time between 2000 and 2100 in s, ms, µs or ns", unix)
}

// SecondsTime is the time so many seconds after 1970, to the microsecond: a
// float64 of today's seconds holds no more, and .123 must not become .122999.
func SecondsTime(unixS float64) time.Time {
	return time.UnixMicro(int64(math.Round(unixS * 1e6))).UTC()
}

// CheckTime says why a reading cannot have the time t when the clock shows
// now, or returns nil. The error is a RefusedError of reason BadTime or
// FutureTime.
func CheckTime(t, now time.Time) error {
	switch {
	case t.Before(Oldest):
		return refuse(BadTime, "time %s is before 2000: was the clock of the sender set?", t.UTC().Format(time.RFC3339))
	case t.After(now.Add(MaxAhead)):
		return refuse(FutureTime, "time %s is more than %s ahead of the clock (%s): check the clock of the sender and its time zone",
			t.UTC().Format(time.RFC3339), MaxAhead, now.UTC().Format(time.RFC3339))
	}
	return nil
}

// offsetLayouts after RFC 3339 itself, which the standard library reads fast.
var offsetLayouts = [...]string{
	time.RFC3339, "2006-01-02T15:04:05Z0700", "2006-01-02T15:04:05Z07",
	"2006-01-02T15:04Z07:00", "2006-01-02T15:04Z0700", "2006-01-02T15:04Z07",
}

func parseCalendarTime(s string) (time.Time, error) {
	text, leap := tidyCalendar(s)
	for _, layout := range offsetLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			return t.Add(leap).UTC(), nil
		}
	}
	for _, layout := range [...]string{"2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if _, err := time.Parse(layout, text); err == nil {
			return time.Time{}, noOffsetError{refuse(BadTime,
				"time %s has no offset from UTC: write %sZ when it is UTC, or the local offset as in %s+01:00", quoted(s), text, text)}
		}
	}
	return time.Time{}, badTime(s)
}

// tidyCalendar brings a calendar time to RFC 3339's usual form. A leap second
// (RFC 3339 section 5.7) is read as the second before, to which leap is added.
func tidyCalendar(s string) (text string, leap time.Duration) {
	if len(s) < len("2006-01-02T15:04") {
		return s, 0
	}
	if c := s[10]; c == ' ' || c == 't' {
		s = s[:10] + "T" + s[11:]
	}
	if last := len(s) - 1; s[last] == 'z' {
		s = s[:last] + "Z"
	}
	if len(s) >= len("2006-01-02T23:59:60") && s[13:19] == ":59:60" {
		return s[:17] + "59" + s[19:], time.Second
	}
	return s, 0
}

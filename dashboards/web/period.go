package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
)

const (
	// longestDays is what a drawing is cut to.
	longestDays = longestWindow
	shortest    = 10 * time.Minute
)

// Years beyond these are slips of the pen.
const firstYear, lastYear = 1990, 2100

// period is the time that is looked at, in the plant's zone; to is exclusive.
type period struct{ from, to time.Time }

func dayOf(t time.Time) time.Time {
	y, m, d := t.Date()
	return job.StartOfDay(y, m, d, t.Location())
}

// daysOn returns the beginning of the local day n days on.
func daysOn(t time.Time, n int) time.Time {
	y, m, d := t.Date()
	return job.StartOfDay(y, m, d+n, t.Location())
}

// wholeDay returns the local day that holds an instant.
func wholeDay(t time.Time) period { return period{dayOf(t), daysOn(t, 1)} }

// momentLayouts are the ways to write an instant, first those on the plant's
// wall clock.
var (
	wallLayouts  = []string{minuteLayout, "2006-01-02T15:04:05", dateLayout}
	zonedLayouts = []string{"2006-01-02T15:04Z07:00", time.RFC3339}
)

func parseMoment(text string, zone *time.Location) (time.Time, bool) {
	// A plus that was not escaped arrives as a space.
	text = strings.ReplaceAll(strings.TrimSpace(text), " ", "+")
	for _, layout := range zonedLayouts {
		if t, err := time.Parse(layout, text); err == nil {
			return t.In(zone), sensible(t)
		}
	}
	for _, layout := range wallLayouts {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			if layout == dateLayout {
				t = parseDate(text, zone)
			}
			return t, sensible(t)
		}
	}
	return time.Time{}, false
}

// parseDate reads a date that is known to be one.
func parseDate(text string, zone *time.Location) time.Time {
	date, _ := time.Parse(dateLayout, text)
	return job.StartOfDay(date.Year(), date.Month(), date.Day(), zone)
}

func sensible(t time.Time) bool { return t.Year() >= firstYear && t.Year() <= lastYear }

// formatMoment writes an instant so that parseMoment reads the same instant,
// on the plant's wall clock where that is not ambiguous.
func formatMoment(t time.Time) string {
	layouts := append([]string{dateLayout}, wallLayouts...)
	for _, layout := range layouts {
		text := t.Format(layout)
		if back, ok := parseMoment(text, t.Location()); ok && back.Equal(t) {
			return text
		}
	}
	return t.Format(time.RFC3339)
}

// parsePeriod reads day=, or from= and to=, of an address; ok is false when
// neither is there. A note tells what was changed to serve it.
func parsePeriod(query url.Values, zone *time.Location) (p period, note string, ok bool, err error) {
	day, from, to := query.Get("day"), query.Get("from"), query.Get("to")
	switch {
	case day != "":
		at, fine := parseMoment(day, zone)
		if !fine || len(day) != len(dateLayout) {
			return p, "", true, badPeriod("%q is not a day: write it as 2026-01-31", day)
		}
		return wholeDay(at), "", true, nil
	case from == "" && to == "":
		return p, "", false, nil
	case from == "" || to == "":
		return p, "", true, badPeriod("A range needs both from and to, such as from=2026-01-14T06:00 and to=2026-01-14T12:00")
	}
	var fine bool
	if p.from, fine = parseMoment(from, zone); !fine {
		return p, "", true, badPeriod("from: %q is no time: write it as 2026-01-31T06:00, or 2026-01-31 for its midnight", from)
	}
	if p.to, fine = parseMoment(to, zone); !fine {
		return p, "", true, badPeriod("to: %q is no time: write it as 2026-01-31T06:00, or 2026-01-31 for its midnight", to)
	}
	if !p.to.After(p.from) {
		return p, "", true, badPeriod("The range ends (%s) before it begins (%s)", to, from)
	}
	p, note = p.bounded()
	return p, note, true, nil
}

func badPeriod(format string, args ...any) *refusal {
	return &refusal{Status: http.StatusBadRequest, Title: "This range cannot be shown", Detail: fmt.Sprintf(format, args...) + "."}
}

// bounded brings a period to a length that can be drawn.
func (p period) bounded() (period, string) {
	if latest := daysOn(p.from, longestDays); p.to.After(latest) {
		p.to = latest
		return p, fmt.Sprintf("Cut to the first %d days: a drawing shows no more than a year.", longestDays)
	}
	if p.to.Sub(p.from) < shortest {
		p.to = p.from.Add(shortest)
		return p, fmt.Sprintf("Widened to %s, the shortest range that is drawn.", length(shortest))
	}
	return p, ""
}

// whole says whether the period is whole local days.
func (p period) whole() bool { return p.from.Equal(dayOf(p.from)) && p.to.Equal(dayOf(p.to)) }

// days counts the local days that the period touches.
func (p period) days() int {
	n := 0
	for t := dayOf(p.from); t.Before(p.to); t = daysOn(t, 1) {
		n++
	}
	return n
}

// shifted returns the period n of its own lengths later, by the calendar if it
// is whole days.
func (p period) shifted(n int) period {
	if p.whole() {
		k := n * p.days()
		return period{daysOn(p.from, k), daysOn(p.to, k)}
	}
	by := time.Duration(n) * p.to.Sub(p.from)
	return period{p.from.Add(by), p.to.Add(by)}
}

// scaled returns the period around the same middle with its length times
// factor, to the minute.
func (p period) scaled(factor float64) period {
	half := time.Duration(float64(p.to.Sub(p.from)) * factor / 2)
	middle := p.middle()
	return period{middle.Add(-half).Truncate(time.Minute), middle.Add(half).Truncate(time.Minute)}
}

func (p period) middle() time.Time { return p.from.Add(p.to.Sub(p.from) / 2) }

// seenBy returns the end of the part of the period that is not in the future,
// at least a minute after its beginning.
func (p period) seenBy(now time.Time) time.Time {
	return siteday.Later(siteday.Earlier(p.to, now), p.from.Add(time.Minute))
}

func (p period) equal(o period) bool { return p.from.Equal(o.from) && p.to.Equal(o.to) }

// query writes the period for an address.
func (p period) query() string {
	if p.whole() && p.days() == 1 {
		return "?day=" + p.from.Format(dateLayout)
	}
	return "?" + url.Values{"from": {formatMoment(p.from)}, "to": {formatMoment(p.to)}}.Encode()
}

// String names the period in words.
func (p period) String() string {
	last := p.to.Add(-time.Millisecond)
	sameDay := p.from.Format(dateLayout) == last.Format(dateLayout)
	switch {
	case p.whole() && sameDay:
		return p.from.Format(dayInWords)
	case p.whole() && p.from.Year() == last.Year():
		return p.from.Format("Mon 2 Jan") + " to " + last.Format(dayInWords)
	case p.whole():
		return p.from.Format(dayInWords) + " to " + last.Format(dayInWords)
	case sameDay:
		return p.from.Format(dayInWords+", 15:04") + " to " + closing(p.to, last)
	}
	return p.from.Format("Mon 2 Jan, 15:04") + " to " + p.to.Format("Mon 2 Jan 2006, 15:04")
}

// closing writes the end of a day as 24:00.
func closing(to, last time.Time) string {
	if to.Format(dateLayout) != last.Format(dateLayout) {
		return "24:00"
	}
	return to.Format("15:04")
}

// moves are where one can go from a period; an empty one leads nowhere.
type moves struct {
	Earlier, Later, ZoomIn, ZoomOut, WholeDay, Week, Month, Year string
}

// moves returns the ways on from p. There are readings from first on, and none
// after now.
func (p period) moves(first, now time.Time) moves {
	var m moves
	if p.from.After(first) {
		m.Earlier = p.shifted(-1).query()
	}
	if p.to.Before(now) {
		m.Later = p.shifted(1).query()
	}
	if in := p.scaled(0.5); in.to.Sub(in.from) >= shortest {
		m.ZoomIn = in.query()
	}
	if out := p.scaled(2); out.days() <= longestDays {
		m.ZoomOut = out.before(daysOn(now, 1)).query()
	}
	if day := wholeDay(p.middle()); !day.equal(p) {
		m.WholeDay = day.query()
	}
	for _, length := range []struct {
		days int
		to   *string
	}{{7, &m.Week}, {30, &m.Month}, {365, &m.Year}} {
		last := p.to.Add(-time.Millisecond)
		if ending := (period{daysOn(last, 1-length.days), daysOn(last, 1)}); !ending.equal(p) {
			*length.to = ending.query()
		}
	}
	return m
}

// before moves the period back so that it ends no later than limit.
func (p period) before(limit time.Time) period {
	if over := p.to.Sub(limit); over > 0 {
		return period{p.from.Add(-over), p.to.Add(-over)}
	}
	return p
}

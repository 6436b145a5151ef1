package web

import (
	"fmt"
	"net/url"
	"strconv"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
)

const (
	// usualWindow is how many whole days a page of a plant is over unless asked.
	usualWindow = 28
	// longestWindow is a year, whatever year.
	longestWindow = 366
)

// windowNav is the whole days a page is over, and the ways to others.
type windowNav struct {
	Name, Note     string
	From, To       string // for the fields of the form; To is the last day
	Earlier, Later string
	Lengths        []windowLink
}

// windowLink leads to the last days.
type windowLink struct {
	Name, Query string
	Here        bool
}

// windowLengths are the lengths to choose from.
var windowLengths = []struct {
	days int
	name string
}{{7, "7 days"}, {usualWindow, "28 days"}, {91, "a quarter"}, {365, "a year"}}

// window is a span of whole local days and how it was asked for.
type window struct {
	job.Window
	last int // the last days up to today were asked for; 0: two dates were
	note string
}

// begin lets the last days begin with the first readings, so that what was measured
// of them says something. Days that were asked for by date stay.
func (w *window) begin(first time.Time) {
	if from := dayOf(first); w.last > 0 && from.After(w.From) && from.Before(w.To) {
		w.From, w.note = from, "From the first readings on."
	}
}

// endWith lets the last days end with the newest reading, of a plant that has been
// silent for longer than they are.
func (w *window) endWith(last time.Time) {
	to := daysOn(last, 1)
	w.Window = job.Window{From: daysOn(to, -w.last), To: to}
	w.note = "Up to the last readings."
}

func (w window) period() period { return period{w.From, w.To} }

// parseWindow reads last=28, or from= and to= as dates, both included, of an
// address. today is the local day that is not over yet, and not part of it.
func parseWindow(query url.Values, today time.Time) (window, error) {
	from, to, last := query.Get("from"), query.Get("to"), query.Get("last")
	if from == "" && to == "" {
		days := usualWindow
		if last != "" {
			n, err := strconv.Atoi(last)
			if err != nil || n < 1 || n > longestWindow {
				return window{}, badPeriod("last: %q is no number of days from 1 to %d", last, longestWindow)
			}
			days = n
		}
		return window{Window: job.Window{From: daysOn(today, -days), To: today}, last: days}, nil
	}
	zone := today.Location()
	first, firstFine := parseMoment(from, zone)
	end, endFine := parseMoment(to, zone)
	if !firstFine || !endFine || len(from) != len(dateLayout) || len(to) != len(dateLayout) {
		return window{}, badPeriod("Days need from and to as dates, such as from=2026-01-01 and to=2026-01-31")
	}
	w := window{Window: job.Window{From: dayOf(first), To: daysOn(end, 1)}}
	if !w.To.After(w.From) {
		return w, badPeriod("The days end (%s) before they begin (%s)", to, from)
	}
	if latest := daysOn(w.From, longestWindow); w.To.After(latest) {
		w.To, w.note = latest, fmt.Sprintf("Cut to the first %d days.", longestWindow)
	}
	if !w.From.Before(today) {
		return w, badPeriod("The days begin on %s, and only days that are over are summed up", from)
	}
	w.To = siteday.Earlier(w.To, today)
	return w, nil
}

// datesQuery writes a window for an address.
func datesQuery(p period) string {
	return "?" + url.Values{"from": {p.from.Format(dateLayout)}, "to": {p.to.Add(-time.Millisecond).Format(dateLayout)}}.Encode()
}

// nav returns the ways on. There are readings from first on.
func (w window) nav(first, today time.Time) windowNav {
	p := w.period()
	n := windowNav{
		Name: p.String(), Note: w.note, From: p.from.Format(dateLayout), To: p.to.Add(-time.Millisecond).Format(dateLayout),
	}
	if p.from.After(first) {
		n.Earlier = datesQuery(p.shifted(-1))
	}
	if p.to.Before(today) {
		later := p.shifted(1)
		n.Later = datesQuery(later.before(today))
	}
	for _, l := range windowLengths {
		n.Lengths = append(n.Lengths, windowLink{l.name, "?last=" + strconv.Itoa(l.days), w.last == l.days})
	}
	return n
}

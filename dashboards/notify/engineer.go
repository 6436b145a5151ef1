package notify

import (
	"fmt"
	"net/mail"
	"slices"
	"time"

	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/store"
)

// Way is how an engineer is told.
type Way string

// The ways.
const (
	EMail   Way = "e-mail"
	Webhook Way = "webhook"
	MQTT    Way = "mqtt"
)

// EverySite stands for all sites.
const EverySite = "*"

// Engineer is one who is told, and how, of what, and when not.
type Engineer struct {
	Name       string // one of a kind; what was put is known by it
	EMail      *mail.Address
	Webhook    *deliver.Webhook
	Topic      string   // MQTT
	Sites      []string // ids, or EverySite
	Severities []store.Severity
	Zone       *time.Location // of the hours that follow, and of the times in messages
	Quiet      *QuietHours
	DigestAt   ClockTime
}

// QuietHours are the hours of every day in which an engineer is not to be
// called, midnight within or not.
type QuietHours struct {
	From, To    ClockTime
	HoldsUrgent bool // back too
}

// ClockTime is a time of day in minutes since midnight, as the clock on the wall
// shows it.
type ClockTime int

// ParseClockTime reads a time such as "07:30".
func ParseClockTime(text string) (ClockTime, error) {
	t, err := time.Parse("15:04", text)
	if err != nil {
		return 0, fmt.Errorf("%q is no time of day; write it as 07:30", text)
	}
	return ClockTime(t.Hour()*60 + t.Minute()), nil
}

func (c ClockTime) String() string { return fmt.Sprintf("%02d:%02d", c/60, c%60) }

func clockTime(t time.Time) ClockTime { return ClockTime(t.Hour()*60 + t.Minute()) }

// Holds says whether a time of day is within the quiet hours.
func (q QuietHours) Holds(c ClockTime) bool {
	if q.From <= q.To {
		return q.From <= c && c < q.To
	}
	return c >= q.From || c < q.To
}

// Opens returns the first time from t on at which the engineer may be told. It
// looks at the clock on the wall minute by minute, so that no change of the clocks
// leads it astray.
func (g *Engineer) Opens(t time.Time, urgent bool) time.Time {
	if g.Quiet == nil || urgent && !g.Quiet.HoldsUrgent {
		return t
	}
	for range 48 * 60 {
		if !g.Quiet.Holds(clockTime(t.In(g.Zone))) {
			return t
		}
		t = t.Truncate(time.Minute).Add(time.Minute)
	}
	return t
}

// nextDigest returns when the next digest after t is due: one for every date.
func (g *Engineer) nextDigest(t time.Time) time.Time {
	local := t.In(g.Zone)
	for day := local.Day(); ; day++ {
		at := time.Date(local.Year(), local.Month(), day, 0, int(g.DigestAt), 0, 0, g.Zone)
		if at.After(t) {
			return g.Opens(at, false)
		}
	}
}

// hears says whether findings of a site and severity are the engineer's.
func (g *Engineer) hears(site string, severity store.Severity) bool {
	return severity != store.Info && g.LooksAfter(site) && slices.Contains(g.Severities, severity)
}

// LooksAfter says whether a site is the engineer's.
func (g *Engineer) LooksAfter(site string) bool {
	return slices.Contains(g.Sites, EverySite) || slices.Contains(g.Sites, site)
}

// ways returns how the engineer is told.
func (g *Engineer) ways() []Way {
	var ways []Way
	if g.EMail != nil {
		ways = append(ways, EMail)
	}
	if g.Webhook != nil {
		ways = append(ways, Webhook)
	}
	if g.Topic != "" {
		ways = append(ways, MQTT)
	}
	return ways
}

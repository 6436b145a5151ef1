package chart

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func clockFrom(from time.Time, last time.Duration, width float64) clock {
	return clock{newWindow(from.UnixMilli(), from.Add(last).UnixMilli(), 0), 0, width, from.Location()}
}

func labels(marks []mark) string {
	var all []string
	for _, m := range marks {
		if m.label != "" {
			all = append(all, m.label)
		}
	}
	return strings.Join(all, " ")
}

var tickStyle = TextStyle{Size: smallSize}

// Clock changes are those of the tz database: London leaves summer time on
// 25 October 2026 at 01:00 UTC, Berlin enters it on 29 March 2026 at 01:00
// UTC, Lord Howe Island goes back by half an hour on 5 April 2026 at 02:00,
// Santiago goes forward on 6 September 2026 at midnight.
func TestTicksStandAtLocalHours(t *testing.T) {
	check := func(from time.Time, last time.Duration, width float64, want string) {
		t.Helper()
		c := clockFrom(from, last, width)
		assert.Equal(t, want, labels(c.ticks(tickStyle)))
	}
	london, berlin := zone(t, "Europe/London"), zone(t, "Europe/Berlin")
	back := time.Date(2026, 10, 25, 0, 0, 0, 0, london)
	forward := time.Date(2026, 3, 29, 0, 0, 0, 0, berlin)
	check(back, 25*time.Hour, 800, "00:00 02:00 04:00 06:00 08:00 10:00 12:00 14:00 16:00 18:00 20:00 22:00 00:00")
	check(back, 25*time.Hour, 250, "00:00 06:00 12:00 18:00 00:00")
	check(forward, 23*time.Hour, 600, "00:00 04:00 06:00 08:00 10:00 12:00 14:00 16:00 18:00 20:00 22:00 00:00")
	check(back, 4*time.Hour, 400, "00:00 00:30 01:00 BST 01:30 01:00 GMT 01:30 02:00 02:30 03:00")
	check(back, 4*time.Hour, 200, "00:00 01:00 01:00 02:00 03:00")
	check(forward, 4*time.Hour, 200, "00:00 01:00 03:00 04:00 05:00")
	check(time.Date(2026, 1, 1, 6, 0, 0, 0, zone(t, "Asia/Kathmandu")), 10*time.Minute, 600,
		"06:00 06:01 06:02 06:03 06:04 06:05 06:06 06:07 06:08 06:09 06:10") // UTC+5:45
	check(time.Date(2026, 1, 1, 5, 50, 0, 0, zone(t, "Asia/Kathmandu")), 3*time.Hour, 150, "06:00 07:00 08:00")
}

func TestTicksAreEvenlySpacedInElapsedTime(t *testing.T) {
	c := clockFrom(time.Date(2026, 10, 25, 0, 0, 0, 0, zone(t, "Europe/London")), 25*time.Hour, 1250)
	marks := c.ticks(tickStyle)
	require.Len(t, marks, 26, "25 hours have 26 full hours")
	for i, m := range marks {
		assert.InDelta(t, 50*i, m.x, 1e-6)
	}
}

func TestDaysHaveTheLengthOfTheirLocalDay(t *testing.T) {
	c := clockFrom(time.Date(2026, 10, 23, 0, 0, 0, 0, zone(t, "Europe/London")), 5*24*time.Hour, 250)
	days := c.days()
	require.Len(t, days, 5)
	assert.Equal(t, 25*time.Hour, days[3].Sub(days[2]))
	assert.Equal(t, 24*time.Hour, days[2].Sub(days[1]))
	assert.Equal(t, "Fri 23 Sat 24 Sun 25 Mon 26 Tue 27", labels(c.dayMarks(tickStyle)))

	santiago := zone(t, "America/Santiago")
	c = clockFrom(time.Date(2026, 9, 5, 0, 0, 0, 0, santiago), 3*24*time.Hour, 500)
	assert.Equal(t, "2026-09-06T01:00:00-03:00", c.days()[1].Format(time.RFC3339), "a day without midnight")
}

func TestLongRangesHaveDaysThenWeeks(t *testing.T) {
	from := time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC) // a Tuesday
	assert.Equal(t, "3 4 5 6 7 8 9 10 11 12", labels(clockFrom(from, 10*24*time.Hour, 300).ticks(tickStyle)))
	assert.Equal(t, "9 Feb 16 Feb 23 Feb 2 Mar 9 Mar", labels(clockFrom(from, 35*24*time.Hour, 250).ticks(tickStyle)))
	c := clockFrom(from, 35*24*time.Hour, 250)
	assert.Equal(t, "February 2026 March 2026", labels(c.enclosing(tickStyle, nil)))
}

func TestChangesOfTheClockAreSaid(t *testing.T) {
	check := func(from time.Time, want string, afterHours float64) {
		t.Helper()
		c := clockFrom(from, 24*time.Hour, 2400)
		changes := c.changes()
		require.Len(t, changes, 1)
		assert.Equal(t, want, changes[0].note)
		assert.InDelta(t, 100*afterHours, changes[0].x, 1e-6)
	}
	check(time.Date(2026, 10, 25, 0, 0, 0, 0, zone(t, "Europe/London")), "01:00 twice", 2)
	check(time.Date(2026, 10, 25, 0, 0, 0, 0, zone(t, "Europe/Berlin")), "02:00 twice", 3)
	check(time.Date(2026, 3, 29, 0, 0, 0, 0, zone(t, "Europe/Berlin")), "02:00 skipped", 2)
	check(time.Date(2026, 4, 5, 0, 0, 0, 0, zone(t, "Australia/Lord_Howe")), "01:30 twice", 2)
	assert.Empty(t, clockFrom(time.Date(2026, 2, 3, 0, 0, 0, 0, zone(t, "Europe/Berlin")), 24*time.Hour, 100).changes())
	assert.Empty(t, clockFrom(time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC), 24*time.Hour, 100).changes())
	assert.Empty(t, clockFrom(time.Date(2026, 3, 1, 0, 0, 0, 0, zone(t, "Europe/Berlin")), 40*24*time.Hour, 100).changes(), "too long for an hour to show")
}

func TestShownTwice(t *testing.T) {
	london := zone(t, "Europe/London")
	for utcMinute := -120; utcMinute < 180; utcMinute++ {
		at := time.Date(2026, 10, 25, 1, utcMinute, 0, 0, time.UTC).In(london)
		assert.Equal(t, at.Hour() == 1, shownTwice(at), at.String())
	}
}

func TestFreePartOfAStretch(t *testing.T) {
	e := extent{0, 100}
	assert.Equal(t, extent{0, 100}, e.without([]extent{{120, 140}}))
	assert.Equal(t, extent{30, 100}, e.without([]extent{{10, 30}}))
	assert.Equal(t, extent{0, 60}, e.without([]extent{{60, 80}}))
}

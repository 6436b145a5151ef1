package web

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func parsed(t *testing.T, query string, z *time.Location) period {
	t.Helper()
	values, err := url.ParseQuery(strings.TrimPrefix(query, "?"))
	require.NoError(t, err)
	p, note, ok, err := parsePeriod(values, z)
	require.NoError(t, err, query)
	require.True(t, ok, query)
	require.Empty(t, note, query)
	return p
}

// TestMomentsSurviveAnAddress: every quarter of an hour around changes of the
// clocks (IANA tz data) is written so that the same instant is read back, the
// hour that the clock shows twice included.
func TestMomentsSurviveAnAddress(t *testing.T) {
	for name, change := range map[string]time.Time{
		"Europe/London":       time.Date(2026, 10, 25, 1, 0, 0, 0, time.UTC),
		"Europe/Berlin":       time.Date(2026, 3, 29, 1, 0, 0, 0, time.UTC),
		"America/Santiago":    time.Date(2026, 9, 6, 4, 0, 0, 0, time.UTC),
		"America/St_Johns":    time.Date(2026, 11, 1, 4, 30, 0, 0, time.UTC),
		"Australia/Lord_Howe": time.Date(2026, 4, 4, 15, 0, 0, 0, time.UTC),
	} {
		z := zone(t, name)
		for q := -16; q <= 16; q++ {
			at := change.Add(time.Duration(q) * 15 * time.Minute).In(z)
			back, ok := parseMoment(formatMoment(at), z)
			require.True(t, ok, "%s %s", name, formatMoment(at))
			require.True(t, back.Equal(at), "%s: %s became %s", name, at, back)
			p := period{at, at.Add(90 * time.Minute)}
			require.True(t, parsed(t, p.query(), z).equal(p), "%s %s", name, p.query())
		}
	}
}

func TestPlainMomentsStayOnTheWallClock(t *testing.T) {
	london := zone(t, "Europe/London")
	assert.Equal(t, "2026-07-01T06:30", formatMoment(time.Date(2026, 7, 1, 6, 30, 0, 0, london)))
	assert.Equal(t, "2026-07-01", formatMoment(time.Date(2026, 7, 1, 0, 0, 0, 0, london)))
	at, ok := parseMoment("2026-07-01T05:30Z", london)
	require.True(t, ok)
	assert.Equal(t, "2026-07-01T06:30", formatMoment(at))
	at, ok = parseMoment("2026-07-01T07:30 02:00", london)
	require.True(t, ok, "a plus that was not escaped")
	assert.Equal(t, "2026-07-01T06:30", formatMoment(at))
}

// TestDaysAreCalendarDays: the days of clock changes have 23 and 25 hours, and
// stepping over them ends at midnight all the same.
func TestDaysAreCalendarDays(t *testing.T) {
	for name, c := range map[string]struct {
		day   string
		hours float64
	}{
		"Europe/London":    {"2026-10-25", 25},
		"Europe/Berlin":    {"2026-03-29", 23},
		"America/Santiago": {"2026-09-06", 23}, // it has no 00:00
	} {
		z := zone(t, name)
		p := parsed(t, "?day="+c.day, z)
		assert.InDelta(t, c.hours, p.to.Sub(p.from).Hours(), 1e-9, name)
		assert.True(t, p.whole(), name)
		assert.Equal(t, 1, p.days(), name)
		assert.True(t, p.shifted(1).shifted(-1).equal(p), name)
		assert.True(t, p.shifted(-1).to.Equal(p.from), name)
		assert.True(t, p.shifted(1).whole(), name)
		assert.Equal(t, "?day="+c.day, p.query(), name)
	}
}

func TestMoves(t *testing.T) {
	z := zone(t, "Europe/London")
	first := time.Date(2026, 1, 1, 8, 0, 0, 0, z)
	now := time.Date(2026, 1, 15, 10, 0, 0, 0, z)
	m := parsed(t, "?day=2026-01-10", z).moves(first, now)
	assert.Equal(t, "?day=2026-01-09", m.Earlier)
	assert.Equal(t, "?day=2026-01-11", m.Later)
	assert.Equal(t, "?from=2026-01-10T06%3A00&to=2026-01-10T18%3A00", m.ZoomIn)
	assert.Equal(t, "?from=2026-01-09T12%3A00&to=2026-01-11T12%3A00", m.ZoomOut)
	assert.Equal(t, "?from=2026-01-04&to=2026-01-11", m.Week)
	assert.Empty(t, m.WholeDay, "it is one")

	m = parsed(t, "?from=2026-01-10T06:00&to=2026-01-10T09:00", z).moves(first, now)
	assert.Equal(t, "?from=2026-01-10T03%3A00&to=2026-01-10T06%3A00", m.Earlier)
	assert.Equal(t, "?day=2026-01-10", m.WholeDay)

	m = parsed(t, "?day=2026-01-15", z).moves(first, now)
	assert.Empty(t, m.Later, "the future has no readings")
	assert.Equal(t, "?from=2026-01-14&to=2026-01-16", m.ZoomOut, "today ends the range")
	assert.Empty(t, parsed(t, "?day=2026-01-01", z).moves(first, now).Earlier, "nothing was measured before")
	assert.Empty(t, parsed(t, "?from=2026-01-10T06:00&to=2026-01-10T06:15", z).moves(first, now).ZoomIn)
	assert.Empty(t, parsed(t, "?from=2025-02-01&to=2026-01-15", z).moves(first, now).ZoomOut, "a year is the most")
	assert.Equal(t, "?from=2025-01-11&to=2026-01-11", parsed(t, "?day=2026-01-10", z).moves(first, now).Year)
	assert.Empty(t, parsed(t, "?from=2026-01-04&to=2026-01-11", z).moves(first, now).Week)
}

func TestPeriodInWords(t *testing.T) {
	for query, want := range map[string]string{
		"?day=2026-01-10":                            "Sat 10 Jan 2026",
		"?from=2026-01-04&to=2026-01-11":             "Sun 4 Jan to Sat 10 Jan 2026",
		"?from=2025-12-29&to=2026-01-05":             "Mon 29 Dec 2025 to Sun 4 Jan 2026",
		"?from=2026-01-10T06:00&to=2026-01-10T12:30": "Sat 10 Jan 2026, 06:00 to 12:30",
		"?from=2026-01-10T06:00&to=2026-01-11":       "Sat 10 Jan 2026, 06:00 to 24:00",
		"?from=2026-01-10T22:00&to=2026-01-11T04:00": "Sat 10 Jan, 22:00 to Sun 11 Jan 2026, 04:00",
	} {
		assert.Equal(t, want, parsed(t, query, time.UTC).String(), query)
	}
}

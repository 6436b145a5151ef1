package ingest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

// The calendar forms are those of RFC 3339 section 5.6 and its examples of
// section 5.8, moved to a year that readings can have; Unix times of the same
// instants come from GNU date (date -u -d ... +%s).
func TestParseTime(t *testing.T) {
	for text, want := range map[string]int64{
		"2026-01-31T08:00:00Z":           1769846400000,
		"2026-01-31T09:00:00+01:00":      1769846400000,
		"2026-01-31t09:00:00+01:00":      1769846400000,
		"2026-01-31 08:00:00z":           1769846400000,
		"2026-01-31 09:00:00+0100":       1769846400000,
		"2026-01-31 09:00:00+01":         1769846400000,
		"2026-01-31T09:00+01:00":         1769846400000,
		"2026-01-31T13:30:00.25+05:30":   1769846400250,
		"2026-01-31T08:00:00,125Z":       1769846400125,
		"2026-01-31T08:00:00.123456789Z": 1769846400123,
		"2016-12-31T23:59:60Z":           1483228800000,
		"2016-12-31T15:59:60-08:00":      1483228800000,
		"1769846400":                     1769846400000,
		" 1769846400.123 ":               1769846400123,
		"1769846400123":                  1769846400123,
		"1769846400123456":               1769846400123,
		"1769846400123456789":            1769846400123,
		"1.7698464e9":                    1769846400000,
		"946684800":                      946684800000,
		"4102444799":                     4102444799000,
	} {
		got, err := ingest.ParseTime(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got.UnixMilli(), text)
		assert.Equal(t, time.UTC, got.Location(), text)
	}
}

func TestParseTimeRefuses(t *testing.T) {
	for text, detail := range map[string]string{
		"":                          "neither RFC 3339",
		"yesterday":                 "neither RFC 3339",
		"2026-01-31":                "neither RFC 3339",
		"2026-02-30T08:00:00Z":      "neither RFC 3339",
		"2026-01-31T08:00:00+25:00": "neither RFC 3339",
		"31.01.2026 08:00":          "neither RFC 3339",
		"2026-01-31T08:00:00":       "write 2026-01-31T08:00:00Z when it is UTC",
		"2026-01-31 08:00":          "has no offset from UTC",
		"2026-01-31T08:00:00.5":     "has no offset from UTC",
		"20260131":                  "before 2000 as Unix time: was the clock",
		"0":                         "before 2000",
		"12345.6":                   "before 2000",
		"-1769846400":               "no Unix time between 2000 and 2100",
		"4102444800":                "no Unix time between 2000 and 2100",
		"99999999999":               "no Unix time between 2000 and 2100",
		"1e300":                     "no Unix time between 2000 and 2100",
		"1e400":                     "neither RFC 3339",
		"NaN":                       "neither RFC 3339",
	} {
		_, err := ingest.ParseTime(text)
		var refused *ingest.RefusedError
		require.ErrorAs(t, err, &refused, text)
		assert.Equal(t, ingest.BadTime, refused.Reason, text)
		assert.ErrorContains(t, err, detail, text)
	}
}

func TestParseTimeTellsMissingOffsetApart(t *testing.T) {
	_, err := ingest.ParseTime("2026-01-31 08:00:00")
	assert.ErrorIs(t, err, ingest.ErrNoOffset)
	_, err = ingest.ParseTime("2026-01-31 08:00:00 o'clock")
	assert.NotErrorIs(t, err, ingest.ErrNoOffset)
}

func TestCheckTime(t *testing.T) {
	now := time.Date(2026, 1, 31, 8, 0, 0, 0, time.UTC)
	check := func(at time.Time, want ingest.Reason) {
		t.Helper()
		var refused *ingest.RefusedError
		require.ErrorAs(t, ingest.CheckTime(at, now), &refused)
		assert.Equal(t, want, refused.Reason)
	}
	assert.NoError(t, ingest.CheckTime(now.Add(ingest.MaxAhead), now))
	check(now.Add(ingest.MaxAhead+time.Millisecond), ingest.FutureTime)
	assert.NoError(t, ingest.CheckTime(ingest.Oldest, now))
	check(ingest.Oldest.Add(-time.Millisecond), ingest.BadTime)
}

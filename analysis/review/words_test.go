package review_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/review"
)

func TestNumberOfAPoint(t *testing.T) {
	p := review.Point{Value: new(0.934), Low: new(0.88), High: new(0.991), Decimals: 2}
	assert.Equal(t, "0.93 (0.88 to 0.99)", p.Number(), "no blank where there is no unit")
	p.Unit = "kW"
	assert.Equal(t, "0.93 kW (0.88 to 0.99)", p.Number())
	p.Low = nil
	assert.Equal(t, "0.93 kW", p.Number())
	p.Value = nil
	assert.Empty(t, p.Number())
}

// TestPeriodOfAReview: the last day is named, not the midnight after it, also where
// clocks were put back in between.
func TestPeriodOfAReview(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	assert.NoError(t, err)
	period := func(from, to time.Time) string { r := review.Review{From: from, To: to}; return r.Period() }
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, london) }
	assert.Equal(t, "Wed 21 Oct to Tue 27 Oct 2026", period(day(2026, 10, 21), day(2026, 10, 28)))
	assert.Equal(t, "Sun 25 Oct 2026", period(day(2026, 10, 25), day(2026, 10, 26)))
	assert.Equal(t, "Tue 29 Dec 2026 to Mon 4 Jan 2027", period(day(2026, 12, 29), day(2027, 1, 5)))
}

package job

import (
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/site"
)

// TestDaysWhereMidnightIsSkipped: IANA tz data, America/Santiago: on 6 September
// 2026 the clocks go from 00:00 straight to 01:00.
func TestDaysWhereMidnightIsSkipped(t *testing.T) {
	record, err := site.Parse("skipped.yaml", []byte("id: skipped\ntime_zone: America/Santiago\n"))
	require.NoError(t, err)
	w, err := ParseWindow(record, "2026-09-05", "2026-09-08")
	require.NoError(t, err)
	var dates []string
	var hours []float64
	for _, d := range w.days() {
		dates = append(dates, d.date)
		hours = append(hours, d.to.Sub(d.from).Hours())
	}
	assert.Equal(t, []string{"2026-09-05", "2026-09-06", "2026-09-07"}, dates)
	assert.Equal(t, []float64{24, 23, 24}, hours)
	first := time.Date(2026, 9, 6, 4, 0, 0, 0, time.UTC)
	assert.True(t, StartOfDay(2026, 9, 6, record.Zone()).Equal(first))
}

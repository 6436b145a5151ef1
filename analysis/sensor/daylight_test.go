package sensor_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// A day in February at 52° north on the zero meridian, by its irradiance alone: the
// sun is up from 7:20 to 17:05 UTC (from memory, within some minutes).
func TestLightOfADay(t *testing.T) {
	midnight := time.Date(2026, 2, 12, 0, 0, 0, 0, time.UTC)
	check := func(lightFrom, lightTo float64, silent func(hour float64) bool) []sensor.Suspicion {
		c := ingest.Column{Channel: ingest.Channel(ingest.Irradiance)}
		for at := midnight; at.Before(midnight.Add(27 * time.Hour)); at = at.Add(10 * time.Minute) {
			h := at.Sub(midnight).Hours()
			if silent(h) {
				continue
			}
			watts := 0.0
			if h >= lightFrom && h < lightTo {
				watts = 150
			}
			c.UnixMS, c.Value = append(c.UnixMS, at.UnixMilli()), append(c.Value, watts)
		}
		tr := trace.Build([]ingest.Column{c}, midnight, midnight.Add(27*time.Hour), trace.Options{})
		return sensor.Check(tr, operation.Detect(tr), sensor.Known{Place: &sensor.Place{LatitudeDeg: 52}})
	}
	never := func(float64) bool { return false }
	assert.Empty(t, check(8, 16.5, never))
	assert.Empty(t, check(8, 16.5, func(h float64) bool { return h > 18.3 && h < 18.6 }), "what is not known is no light")
	assert.Empty(t, check(8, 16.5, func(h float64) bool { return h > 12 && h < 20 }))
	assert.Len(t, check(8, 18.5, never), 1, "light after sunset")
	assert.Len(t, check(5.5, 12, func(h float64) bool { return h > 12 && h < 20 }), 1, "light before sunrise")
}

package sensor_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/ingest/rig"
)

// Source: the plants have no trouble, and offsets of their sensor pairs within
// 0.1 K. Every day is looked at by itself, and with all days before it.
func TestHealthyPlantsRaiseNoSuspicion(t *testing.T) {
	seasons := []time.Time{time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)}
	days := 2
	if long() {
		seasons = append(seasons, time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 6, 20, 0, 0, 0, 0, time.UTC), time.Date(2025, 10, 10, 0, 0, 0, 0, time.UTC))
		days = 28
	}
	looked := 0
	for _, from := range seasons {
		for seed := uint64(1); seed <= 20; seed++ {
			plant := rig.Random(seed)
			looked += healthyDays(t, plant, from, days)
			plant.Metering.Interval, plant.Metering.Quantities = time.Minute, nil // all it can publish
			looked += healthyDays(t, plant, from, days)
		}
	}
	t.Logf("no suspicion in %d days", looked)
}

func healthyDays(t *testing.T, plant rig.Plant, from time.Time, days int) int {
	k := known(plant)
	var sums []siteday.Day
	replay(t, plant, from, days, func(d seenDay) {
		sums = append(sums, d.sum())
		assert.Empty(t, sensor.Check(d.trace, d.op, k), "%s, day %d from %v", plant.ID, d.n, from)
		assert.Empty(t, sensor.CheckDays(sums, k), "%s, %d days from %v", plant.ID, d.n+1, from)
		assert.Empty(t, sensor.Check(d.trace, d.op, sensor.Known{}), "%s, day %d from %v, nothing on record", plant.ID, d.n, from)
	})
	return len(sums)
}

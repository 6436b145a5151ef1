package season_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/season"
	"coldweek/analysis/siteday"
)

func zoneOf(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

// dayOf is a local day in elapsed hours, each taking so many kWh by its number.
func dayOf(zone *time.Location, month time.Month, day int, kWh func(hour int) float64) []siteday.Hour {
	from := time.Date(2026, month, day, 0, 0, 0, 0, zone)
	var hours []siteday.Hour
	for at := from; at.Before(from.AddDate(0, 0, 1)); at = at.Add(time.Hour) {
		hours = append(hours, siteday.Hour{From: at.UTC(), S: 3600, CoveredS: 3600, ElectricityJ: kWh(len(hours)) * kWhJ})
	}
	return hours
}

func one(int) float64 { return 1 }

// night runs over midnight: 23:30 to 05:30 for 0.10, else 0.30.
func night() season.Tariff {
	return season.Tariff{Currency: "EUR", PricePerKWh: new(0.30), Spans: []season.PriceSpan{{FromMinute: 23*60 + 30, ToMinute: 5*60 + 30, PricePerKWh: 0.10}}}
}

// TestPricesByTheLocalClock: 1 kWh an hour costs 6 h cheap and 18 h dear on a
// plain day. When the clocks go forward at 1:00 UTC a cheap hour is missing, when
// they go back there is one more.
func TestPricesByTheLocalClock(t *testing.T) {
	london := zoneOf(t, "Europe/London")
	for _, c := range []struct {
		name      string
		month     time.Month
		day       int
		cheap, in float64
	}{{"plain", time.January, 10, 6, 24}, {"spring", time.March, 29, 5, 23}, {"autumn", time.October, 25, 7, 25}} {
		hours := dayOf(london, c.month, c.day, one)
		require.Len(t, hours, int(c.in), c.name)
		cost := season.CostOf(hours, 0, london, night())
		require.NotNil(t, cost.Money, c.name)
		assert.InDelta(t, 0.10*c.cheap+0.30*18, *cost.Money, 1e-9, c.name)
		assert.InDelta(t, c.in, cost.ElectricityKWh, 1e-9)
		assert.InDelta(t, *cost.Money/c.in, *cost.PricePerKWh, 1e-9)
		assert.Len(t, cost.Rates, 2)
	}
	// The last hour of London's day is half dear; in Kolkata it is 4:30 to 5:30.
	last := dayOf(london, time.January, 10, func(h int) float64 { return float64(h / 23) })
	assert.InDelta(t, 0.5*0.10+0.5*0.30, *season.CostOf(last, 0, london, night()).Money, 1e-9)
	assert.InDelta(t, 0.10, *season.CostOf(last, 0, zoneOf(t, "Asia/Kolkata"), night()).Money, 1e-9)
}

func TestCostIsNotKnownWithoutAPrice(t *testing.T) {
	hours := dayOf(time.UTC, time.January, 10, one)
	cost := season.CostOf(hours, 60*kWhJ, time.UTC, season.Tariff{})
	assert.Nil(t, cost.Money)
	assert.Nil(t, cost.CarbonKg)
	assert.Nil(t, cost.Former)
	assert.Nil(t, cost.BreakEvenSPF)
	assert.InDelta(t, 24, cost.UnpricedKWh, 1e-9)

	half := night()
	half.PricePerKWh = nil
	cost = season.CostOf(hours, 60*kWhJ, time.UTC, half)
	assert.Nil(t, cost.Money, "18 kWh have no price")
	assert.InDelta(t, 18, cost.UnpricedKWh, 1e-9)
}

// TestFormerFuel by hand: 72 kWh of heat at 0.9 are 80 kWh of gas, 8.00 at 0.10
// and 16 kg at 0.2; electricity 24 kWh cost 7.20 at 0.30 and emit 4.8 kg.
func TestFormerFuel(t *testing.T) {
	cost := season.CostOf(dayOf(time.UTC, time.January, 10, one), 72*kWhJ, time.UTC, season.Tariff{
		PricePerKWh: new(0.30), CarbonKgPerKWh: new(0.2),
		Former: season.Former{Fuel: "gas", PricePerKWh: new(0.10), Efficiency: new(0.9), CarbonKgPerKWh: new(0.2)},
	})
	assert.InDelta(t, 7.2, *cost.Money, 1e-9)
	assert.InDelta(t, 4.8, *cost.CarbonKg, 1e-9)
	require.NotNil(t, cost.Former)
	assert.InDelta(t, 80, cost.Former.FuelKWh, 1e-9)
	assert.InDelta(t, 8, *cost.Former.Money, 1e-9)
	assert.InDelta(t, 16, *cost.Former.CarbonKg, 1e-9)
	assert.InDelta(t, 2.7, *cost.BreakEvenSPF, 1e-9)
	assert.InDelta(t, 0.9, *cost.BreakEvenSPFCO, 1e-9)
}

package main

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/job"
	"coldweek/analysis/robust"
	"coldweek/analysis/season"
)

func TestSizingInWords(t *testing.T) {
	var out strings.Builder
	writeSizing(&out, &job.Result{Sizing: capacity.Report{Verdict: capacity.NotKnown, Why: "the record has no design outdoor temperature"}})
	assert.Equal(t, "Capacity: not known; the record has no design outdoor temperature\n\n", out.String(), "one line of what is not known")

	out.Reset()
	hours := 2.5
	writeSizing(&out, &job.Result{
		Capacity: job.Capacity{BackupHours: &hours},
		Sizing: capacity.Report{
			Basis: capacity.Shown, Signs: []capacity.Sign{capacity.BelowTarget, capacity.BackupHelped}, FullFromC: new(-8.0), FullToC: new(-2.0),
			AtDesign: &robust.Estimate{Value: 8500, Low: 7600, High: 9500}, BeyondK: 6, SustainedRatio: 0.9,
			HoursAtFull: new(24.0), ShareOfTimeAtFull: new(0.1), HotWaterShare: 0.07,
			NeededAtDesign: &robust.Estimate{Value: 7000, Low: 6500, High: 7500},
			Balance:        &capacity.Balance{OutdoorC: -9.5, LowC: math.NaN(), HighC: -7}, Verdict: capacity.Close, Why: "about as much",
		},
	})
	text := out.String()
	assert.Contains(t, text, "Capacity: close; about as much")
	assert.Contains(t, text, "8.5 kW (7.6 to 9.5) between defrosts, by what it has shown; 90 % of it with frost and defrosts; drawn on 6 K beyond what was measured")
	assert.Contains(t, text, "7.0 kW (6.5 to 7.5) for the rooms; hot water takes 7 % of the time")
	assert.Contains(t, text, "-9.5 °C outdoors (lower to -7): below it the machine alone does not keep up")
	assert.Contains(t, text, "10.0 % of the time (24.0 h), seen from -8 to -2 °C outdoors by water that stayed below its target, the backup heater at work")
	assert.Contains(t, text, "2.5 h")

	assert.Equal(t, "below -17 °C outdoors, as far as the lines are known (at worst -12 °C)",
		balanceWords(&capacity.Balance{OutdoorC: math.NaN(), LowC: math.NaN(), HighC: -12, BelowC: new(-17.0)}))
}

func TestRoomsInWords(t *testing.T) {
	var out strings.Builder
	writeRooms(&out, &job.Result{})
	assert.Equal(t, "Rooms: not known, no room temperature is measured\n\n", out.String())

	out.Reset()
	writeRooms(&out, &job.Result{Rooms: comfort.Report{
		Rooms:   []comfort.Room{{Place: "hall", MeanC: 20.2, P5C: 19.6, KnownHours: 168, SetC: new(20.5), HoursBelowSet: new(12.0)}, {MeanC: 21, P5C: 20}},
		Coldest: &comfort.Coldest{Hours: 24, OutdoorC: -5, LowestC: -8, RoomC: 19.5, LowestRoomC: 19, OtherwiseC: 20.4},
	}})
	text := out.String()
	assert.Contains(t, text, "mean 20.2 °C, 95 % of the time above 19.6; 12.0 of 168 h below the 20.5 °C set")
	assert.Contains(t, text, "its set temperature is not in the record")
	assert.Contains(t, text, "coldest 24 hours, -5.0 °C outdoors on average and -8.0 at the lowest, the rooms were at 19.5 °C, at the lowest 19.0 (otherwise 20.4)")
}

func TestCostInWords(t *testing.T) {
	var out strings.Builder
	writeCost(&out, &season.Cost{}, nil)
	assert.Empty(t, out.String(), "nothing was taken")
	writeCost(&out, &season.Cost{ElectricityKWh: 10, UnpricedKWh: 10}, nil)
	assert.Equal(t, "Cost: not known, the record has no price (tariff: price_per_kwh)\n\n", out.String())

	out.Reset()
	spf := 3.1
	writeCost(&out, &season.Cost{
		Currency: "EUR", ElectricityKWh: 100, Money: new(25.0), PricePerKWh: new(0.25), CarbonKg: new(20.0),
		Rates:  []season.Rate{{PricePerKWh: 0.1, KWh: 25}, {PricePerKWh: 0.3, KWh: 75}},
		Former: &season.FormerCost{Fuel: "gas", FuelKWh: 344, Money: new(34.4), CarbonKg: new(70.0)}, BreakEvenSPF: new(2.25),
	}, &spf)
	text := out.String()
	assert.Contains(t, text, "Cost: 25.00 EUR for 100.0 kWh of electricity, 0.250 a kWh")
	assert.Regexp(t, `at 0.1 EUR/kWh +25.0 kWh`, text)
	assert.Contains(t, text, "344 kWh for the same heat, 34.40 EUR, 70.0 kg of carbon; as dear at an SPF of 2.25 (here 3.10)")
}

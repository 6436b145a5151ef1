package storetest

import (
	"slices"
	"sync"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// PlantChannels are those a plant publishes together every 10 s.
var PlantChannels = []ingest.Channel{
	"flow_temp", "return_temp", "flow_rate", "power", "heat_output", "compressor_speed", "pump_power", "mode",
}

// PlantDays is how many different days there are.
const PlantDays = 3

var plantBegins = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// simulated are the first days of 2025 of the well-behaved house, PlantChannels
// only.
var simulated = sync.OnceValue(func() (days [PlantDays][]ingest.Reading) {
	r, err := rig.New(rig.Houses()[0], plantBegins)
	if err != nil {
		panic(err)
	}
	for day := range days {
		r.Advance(plantBegins.AddDate(0, 0, day+1), func(reading ingest.Reading) {
			if slices.Contains(PlantChannels, reading.Channel) {
				days[day] = append(days[day], reading)
			}
		})
	}
	return days
})

// PlantDay returns a day's readings, in the order they were taken. Day counts
// from the start of 2025; the simulated days come round again and again.
func PlantDay(site string, day int) []ingest.Reading {
	readings := slices.Clone(simulated()[day%PlantDays])
	for i := range readings {
		readings[i].Site = site
		readings[i].Time = readings[i].Time.Add(time.Duration(day-day%PlantDays) * 24 * time.Hour)
	}
	return readings
}

package influx_test

import (
	"slices"
	"sync"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

var year2025 = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// plantChannels are those a plant publishes together every 10 s.
var plantChannels = []ingest.Channel{
	"flow_temp", "return_temp", "flow_rate", "power", "heat_output", "compressor_speed", "pump_power", "mode",
}

const plantDays = 3

// simulated are the first days of 2025 of the well-behaved house, plantChannels
// only.
var simulated = sync.OnceValue(func() (days [plantDays][]ingest.Reading) {
	r, err := rig.New(rig.Houses()[0], year2025)
	if err != nil {
		panic(err)
	}
	for day := range days {
		r.Advance(year2025.AddDate(0, 0, day+1), func(reading ingest.Reading) {
			if slices.Contains(plantChannels, reading.Channel) {
				days[day] = append(days[day], reading)
			}
		})
	}
	return days
})

// plantDay returns a day's readings, in the order they were taken. Day counts
// from the start of 2025; the simulated days come round again and again.
func plantDay(site string, day int) []ingest.Reading {
	readings := slices.Clone(simulated()[day%plantDays])
	for i := range readings {
		readings[i].Site = site
		readings[i].Time = readings[i].Time.Add(time.Duration(day-day%plantDays) * 24 * time.Hour)
	}
	return readings
}

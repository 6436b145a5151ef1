package rig_test

import (
	"fmt"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// A week of a house whose flow and return sensors got exchanged on the third
// day.
func Example() {
	plant := rig.Houses()[0]
	start := time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC)
	plant.Troubles = []rig.Trouble{{Kind: rig.SwappedSensors, After: 48 * time.Hour}}
	house, err := rig.New(plant, start)
	if err != nil {
		fmt.Println(err)
		return
	}
	readings := 0
	house.Advance(start.AddDate(0, 0, 7), func(ingest.Reading) { readings++ })
	truth := house.Truth()
	fmt.Println(len(plant.Channels()), "channels,", readings > 600_000)
	fmt.Println(len(truth.Days), "days,", truth.Troubles[0].Kind, "since", truth.Troubles[0].At.Format(time.DateOnly))
	fmt.Println("the truth does not mind:", truth.Heat.NetKWh > 300)
	// Output:
	// 21 channels, true
	// 7 days, swapped_sensors since 2025-01-08
	// the truth does not mind: true
}

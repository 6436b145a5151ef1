package defrost

import (
	"maps"
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// The width of a band.
const (
	outdoorBandK    = 2
	humidityBandPct = 10
)

// Band is what happened in one kind of air.
type Band struct {
	From, To     float64 // °C outdoors, or % of relative humidity
	RunS         float64 // the compressor ran in it
	Count        int
	Length       time.Duration
	ElectricityJ float64 // cost of the Known ones
	Known        int
}

func byOutdoor(episodes []Episode, sums *siteday.Sums) []Band {
	bands := map[int]Band{}
	for _, c := range slices.Sorted(maps.Keys(sums.Bins)) {
		bin := sums.Bins[c]
		k := floorDiv(float64(c), outdoorBandK)
		band := bands[k]
		for state, seconds := range bin.SecondsS {
			if isRunning(state) {
				band.RunS += seconds
			}
		}
		bands[k] = band
	}
	return fill(bands, episodes, outdoorBandK, math.MaxInt, func(e *Episode) *float64 { return e.OutdoorC })
}

func byHumidity(episodes []Episode, sums *siteday.Sums) []Band {
	bands := map[int]Band{}
	for bin, seconds := range sums.Humidity.Weight {
		bands[floorDiv(float64(bin)*sums.Humidity.Width, humidityBandPct)] = Band{RunS: seconds}
	}
	return fill(bands, episodes, humidityBandPct, 100/humidityBandPct-1, func(e *Episode) *float64 { return e.HumidityPct })
}

// fill puts the episodes into bands, none above the top one, and returns those
// with running time.
func fill(bands map[int]Band, episodes []Episode, width float64, topBand int, of func(*Episode) *float64) []Band {
	for i := range episodes {
		e := &episodes[i]
		value := of(e)
		if value == nil {
			continue
		}
		k := min(floorDiv(*value, width), topBand)
		band := bands[k]
		band.Count++
		band.Length += e.Length()
		if e.Cost != nil {
			band.Known++
			band.ElectricityJ += e.Cost.ElectricityJ
		}
		bands[k] = band
	}
	var used []Band
	for _, k := range slices.Sorted(maps.Keys(bands)) {
		if band := bands[k]; band.RunS > 0 || band.Count > 0 {
			band.From, band.To = float64(k)*width, float64(k+1)*width
			used = append(used, band)
		}
	}
	return used
}

func floorDiv(value, width float64) int { return int(math.Floor(value / width)) }

func isRunning(state int) bool { return operation.State(state).Running() }

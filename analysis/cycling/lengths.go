package cycling

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// Lengths is how long runs or pauses were. Without any, the quantiles are 0.
type Lengths struct {
	Count            int
	P10, Median, P90 time.Duration
	Classes          []Class // those of classLimits and what is longer
}

// Class counts lengths below a limit and not below the one before; Below is 0
// for the last, which has none.
type Class struct {
	Below time.Duration
	Count int
}

var classLimits = []time.Duration{
	5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 3 * time.Hour, 8 * time.Hour,
}

func lengthsOf(all []time.Duration) Lengths {
	l := Lengths{Count: len(all)}
	for _, limit := range classLimits {
		l.Classes = append(l.Classes, Class{Below: limit})
	}
	l.Classes = append(l.Classes, Class{})
	if len(all) == 0 {
		return l
	}
	sorted := slices.Sorted(slices.Values(all))
	l.P10, l.Median, l.P90 = quantile(sorted, 0.1), quantile(sorted, 0.5), quantile(sorted, 0.9)
	for _, length := range sorted {
		i := 0
		for i < len(classLimits) && length >= classLimits[i] {
			i++
		}
		l.Classes[i].Count++
	}
	return l
}

// quantile of sorted values by the nearest rank.
func quantile[V any](sorted []V, share float64) V {
	return sorted[int(math.Round(share*float64(len(sorted)-1)))]
}

// outdoorBandK is the width of a band.
const outdoorBandK = 2

func bandOf(outdoorC float64) int { return int(math.Floor(outdoorC / outdoorBandK)) }

func byOutdoor(sums *siteday.Sums, short time.Duration) []Band {
	bands, lengths := map[int]Band{}, map[int][]time.Duration{}
	for _, c := range slices.Sorted(maps.Keys(sums.Bins)) {
		bin := sums.Bins[c]
		band := bands[bandOf(float64(c))]
		for state, seconds := range bin.SecondsS {
			if operation.State(state).Running() {
				band.RunS += seconds
			}
		}
		bands[bandOf(float64(c))] = band
	}
	for _, run := range sums.Runs {
		outdoorC, ok := run.MeanOutdoor.Of()
		if !ok {
			continue
		}
		k := bandOf(outdoorC)
		band := bands[k]
		if run.Started {
			band.Starts++
		}
		if length := run.To.Sub(run.From); whole(sums, run) {
			if length < short {
				band.Short++
			}
			if run.Kind() == heatingRun {
				lengths[k] = append(lengths[k], length)
			}
		}
		bands[k] = band
	}
	var used []Band
	for _, k := range slices.Sorted(maps.Keys(bands)) {
		band := bands[k]
		if band.RunS == 0 && band.Starts == 0 {
			continue
		}
		band.FromC, band.ToC = float64(k)*outdoorBandK, float64(k+1)*outdoorBandK
		if l := lengthsOf(lengths[k]); l.Count > 0 {
			band.Median = &l.Median
		}
		used = append(used, band)
	}
	return used
}

// Limits of the verdict. Three starts an hour and ten minutes of running are
// what simulation studies take from data sheets (Wuellhorst 2021); from 15
// minutes on, what a start costs is insignificant (Uhlmann and Bertsch 2011).
// The rest is common practice, no source.
const (
	manyStarts, tooManyStarts = 3, 6 // in a rolling hour
	shortMedian               = 15 * time.Minute
	veryShortMedian           = 6 * time.Minute
	frequentMedian            = 20 * time.Minute
	minStartsADay             = 6
	minShortRuns              = 5
	shortRunShare             = 0.2
	barrenShare               = 0.3
)

// judge follows starts in an hour, then the median of heating runs on plants
// that start often enough for it to matter.
func judge(r *Report, heating []time.Duration, barren int, knownS float64) (Verdict, string) {
	if knownS == 0 {
		return NotKnown, "it is not known when the compressor ran"
	}
	if barren >= minShortRuns && float64(barren) > barrenShare*float64(len(heating)) {
		return NotKnown, fmt.Sprintf("%d of %d heating runs gave no heat: what looks like the compressor may be a pump", barren, len(heating))
	}
	median := r.Heating.Median
	often := float64(len(heating)) >= minStartsADay*knownS/86400 && len(heating) >= minShortRuns
	shortRuns := 0
	for _, length := range heating {
		if length < r.ShortRun {
			shortRuns++
		}
	}
	inAnHour := 0
	if r.Busiest != nil {
		inAnHour = r.Busiest.Starts
	}
	switch {
	case inAnHour > tooManyStarts:
		return VeryShort, fmt.Sprintf("%d starts within an hour", inAnHour)
	case often && median < veryShortMedian:
		return VeryShort, fmt.Sprintf("half of the heating runs are under %.0f minutes", median.Minutes())
	case inAnHour > manyStarts:
		return Short, fmt.Sprintf("%d starts within an hour", inAnHour)
	case often && median < shortMedian:
		return Short, fmt.Sprintf("half of the heating runs are under %.0f minutes", median.Minutes())
	case shortRuns >= minShortRuns && float64(shortRuns) >= shortRunShare*float64(len(heating)):
		return Short, fmt.Sprintf("%d of %d heating runs are under %.0f minutes", shortRuns, len(heating), r.ShortRun.Minutes())
	case often && median < frequentMedian:
		return Frequent, fmt.Sprintf("%.0f heating runs a day, half of them under %.0f minutes", float64(len(heating))/(knownS/86400), median.Minutes())
	}
	return Calm, "runs are long enough"
}

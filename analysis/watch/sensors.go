package watch

import (
	"slices"
	"time"

	"coldweek/analysis/sensor"
)

// suspected are the suspicions of one kind, each told by one day or by several
// in a row: the times of neighbours, and of those closer than the closing time,
// are joined.
type suspected struct {
	sensor.Suspicion // the latest
	since, until     time.Time
}

// joined puts the suspicions of single days together, in order of time.
func joined(all []sensor.Suspicion, kind sensor.Kind, closing time.Duration) []suspected {
	var found []suspected
	for _, s := range all {
		if s.Kind != kind {
			continue
		}
		k := slices.IndexFunc(found, func(f suspected) bool {
			return slices.Equal(f.Channels, s.Channels) && !s.Since.After(f.until.Add(closing))
		})
		if k < 0 {
			found = append(found, suspected{s, s.Since, s.Until})
			continue
		}
		f := &found[k]
		f.Suspicion = s
		if s.Since.Before(f.since) {
			f.since = s.Since
		}
		if s.Until.After(f.until) {
			f.until = s.Until
		}
	}
	return found
}

// swappedCloseS of running with the flow warmer than the return show that the
// sensors were put right.
const swappedCloseS = 30 * 60

// pipesSwapped tells of flow and return sensors that are exchanged.
func pipesSwapped(c *Case) []Finding {
	var found []Finding
	for _, s := range joined(c.Checks, sensor.Swapped, 12*time.Hour) {
		f := Finding{
			Kind: "pipes_swapped", Severity: Attention, Since: s.since, Until: c.rightAfter(s.until),
			Title:    "Flow and return sensors are exchanged: heat counts backwards",
			Evidence: []Figure{{"flow_less_return_k", s.Size, "K", 1}},
			Causes:   []string{"the two sensors, or their wires, are exchanged", "the channels are exchanged in the publisher or the record"},
			Next:     []string{"touch both pipes, or hold a thermometer to them, while the compressor heats", "change the sensors over, or their channels in the record"},
			Caution:  "Pipes may be hot, and terminals live: isolate before opening, as local rules say.",
		}
		found = append(found, f)
	}
	return found
}

// rightAfter is when a pair was last seen exchanged if running since shows it the
// right way round, else zero.
func (c *Case) rightAfter(until time.Time) time.Time {
	rightS := 0.0
	for i := range c.Slots {
		s := &c.Slots[i]
		if diffK, ok := s.Settled.Difference.Of(); ok && !s.From.Before(until) && diffK > 0.5 {
			rightS += s.Settled.S
		}
	}
	if rightS >= swappedCloseS {
		return until
	}
	return time.Time{}
}

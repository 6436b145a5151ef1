package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/sensor"
)

const (
	// clockCloseAfter the last sign, a clock is taken to have been put right: one that
	// stands wrong shows in the light of clear days only.
	clockCloseAfter = 3 * day
	// jumpsAreOne: a clock that jumps does so every few hours.
	jumpsAreOne = day
	// lateFor: readings that arrived late for so long come from a wrong clock, not from
	// a backlog.
	lateFor = time.Hour
)

// clockWrong tells of a publisher's clock: readings at times that cannot be.
func clockWrong(c *Case) []Finding {
	offsets := joined(c.Checks, sensor.ClockOffset, clockCloseAfter)
	offsets = append(offsets, joined(c.daySuspicions(), sensor.ClockOffset, clockCloseAfter)...)
	var found []Finding
	for _, s := range offsets {
		found = append(found, c.clockFinding(s, fmt.Sprintf("The publisher's clock is %s by %.1f hours", aheadOrBehind(s.Size), math.Abs(s.Size))))
	}
	if b := c.Behind; b != nil && c.publishersNow().Sub(b.Since) >= lateFor {
		late := suspected{sensor.Suspicion{Kind: sensor.ClockOffset, Size: -b.Lag.Hours(), Unit: "h"}, b.Since, c.Now}
		found = append(found, c.clockFinding(late, fmt.Sprintf("Readings are %s old when they arrive: the publisher's clock is behind", spell(b.Lag))))
	}
	for _, s := range joined(c.Checks, sensor.ClockJumps, jumpsAreOne) {
		found = append(found, c.clockFinding(s, fmt.Sprintf("The publisher's clock jumps, by up to %.0f minutes", math.Abs(s.Size))))
	}
	return oneAfterAnother(found)
}

func aheadOrBehind(h float64) string {
	if h < 0 {
		return "behind"
	}
	return "ahead"
}

func (c *Case) clockFinding(s suspected, title string) Finding {
	name := "offset_h"
	if s.Kind == sensor.ClockJumps {
		name = "jumps_minutes"
	}
	f := Finding{
		Kind: "clock_wrong", Severity: Attention, Since: s.since, Title: title,
		Evidence: []Figure{{name, s.Size, s.Unit, 1}},
		Causes: []string{
			"the gateway cannot reach a time server, or has none set",
			"local time is sent as if it were UTC: the offset is then whole hours, and changes with summer time",
			"a clock without a battery, after a power cut",
		},
		Next: []string{
			"compare the time in a message with a watch",
			"set a time server in the gateway, or have it send UTC",
			"where that cannot be done, leave the time out of the messages: readings then get the time of arrival",
			"load the affected time again once it is right",
		},
	}
	if c.dataUntil().Sub(s.until) > clockCloseAfter {
		f.Until = s.until
	}
	return f
}

// oneAfterAnother keeps one finding of those that share time: the one that began
// first, to the end of all.
func oneAfterAnother(found []Finding) []Finding {
	var kept []Finding
	slices.SortStableFunc(found, func(a, b Finding) int { return a.Since.Compare(b.Since) })
	for _, f := range found {
		k := len(kept) - 1
		if k < 0 || !kept[k].overlaps(&f, 0) {
			kept = append(kept, f)
			continue
		}
		kept[k].Until = laterEnd(kept[k].Until, f.Until)
	}
	return kept
}

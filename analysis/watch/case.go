package watch

import (
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
)

// Limits is what the site record says that a plant is held against. Nil is not
// known.
type Limits struct {
	Plant           cycling.Plant // the machine, its flows, curve and short runs
	Sensors         sensor.Known
	DesignFlowLPH   *float64 // that carries the design heat loss
	RoomSetC        map[string]float64
	HotWaterTargetC *float64
	HygieneC        *float64
	HygieneDays     *float64
}

// Case is what was known of a plant up to Now.
type Case struct {
	Limits Limits
	// Days are the local days up to Now in ascending order, some four weeks of
	// them; the last may be today as far as it has come.
	Days []siteday.Day
	// Slots are those of the last days, in order and without a hole, up to the
	// last that was over when the newest reading came.
	Slots []Slot
	// Checks are the suspicions of the days of Slots, day by day as sensor.Check
	// gave them.
	Checks []sensor.Suspicion
	Now    time.Time
	Newest map[ingest.Channel]time.Time

	recent *siteday.Sums // see Recent
}

// slotDays is how many of the days Recent merges.
const slotDays = 4

// Recent merges the last days, as many as there are slots of: runs, defrosts and
// chargings across midnight are whole there.
func (c *Case) Recent() *siteday.Sums {
	if c.recent == nil {
		from := len(c.Days)
		for from > 0 && (len(c.Slots) == 0 || c.Days[from-1].To.After(c.Slots[0].From)) && (len(c.Slots) > 0 || len(c.Days)-from < slotDays) {
			from--
		}
		sums := siteday.Merge(c.Days[from:])
		c.recent = &sums
	}
	return c.recent
}

// SlotsFrom is where the slots begin; Now without any.
func (c *Case) SlotsFrom() time.Time {
	if len(c.Slots) == 0 {
		return c.Now
	}
	return c.Slots[0].From
}

// DaysFrom is where the days begin; Now without any.
func (c *Case) DaysFrom() time.Time {
	if len(c.Days) == 0 {
		return c.Now
	}
	return c.Days[0].From
}

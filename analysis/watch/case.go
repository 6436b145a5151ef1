package watch

import (
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/analysis/flowrate"
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
	DesignOutdoorC  *float64
	DesignRoomC     *float64 // promised where no room's own is known
	Glycol          bool     // the water holds some, by the record
	MaxGap          map[ingest.Channel]time.Duration

	MinimumFlowC, MaximumFlowC *float64 // of the set curve
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
	// Newest is the newest reading of each channel, which may be after Now when the
	// rules run on history; Began the oldest, of those that had begun by Now.
	Newest, Began map[ingest.Channel]time.Time
	// Voices are when the channels were heard on the days of Slots, day by day.
	Voices []Voice
	// Behind is nil where readings arrive as they are made, or it is not known.
	Behind *Behind
	// Curves are what was made of the heating curve at the end of each of the last
	// days; none where there was too little heating.
	Curves []*Curve

	recent, events *siteday.Sums // see Recent and Events
	flow           *flowrate.Result
	defrosts       []defrost.Episode
	steps          *[]step
	byDays         *[]sensor.Suspicion
}

// Behind is how old readings are when they arrive, and the first that was so.
type Behind struct {
	Lag   time.Duration
	Since time.Time
}

// publishersNow is what a publisher's clock shows whose readings arrive late.
func (c *Case) publishersNow() time.Time {
	if c.Behind == nil {
		return c.Now
	}
	return c.Now.Add(-c.Behind.Lag)
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

// Events are the runs, defrosts, chargings and gaps of all days, those across
// midnight whole; nothing else.
func (c *Case) Events() *siteday.Sums {
	if c.events == nil {
		c.events = &siteday.Sums{}
		for i := range c.Days {
			s := &c.Days[i].Sums
			c.events.Add(&siteday.Sums{Runs: s.Runs, Defrosts: s.Defrosts, HotWater: s.HotWater, Gaps: s.Gaps})
		}
	}
	return c.events
}

// FlowRate is what the days say of the flow.
func (c *Case) FlowRate() *flowrate.Result {
	if c.flow == nil {
		c.flow = flowrate.Of(c.Days)
	}
	return c.flow
}

// WholeDays are the days that are over.
func (c *Case) WholeDays() []siteday.Day {
	n := len(c.Days)
	if n > 0 && c.Days[n-1].To.Sub(c.Days[n-1].From) < shortestDay {
		n--
	}
	return c.Days[:n]
}

// shortestDay is a day on which clocks go forward.
const shortestDay = 23 * time.Hour

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

package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
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

// faultOf says how a suspicion is told: its finding's name and title, and how long
// it lasts without being seen, since some faults show only at times. Exchanged
// pipes, clocks and what takes days have rules of their own.
var faults = map[sensor.Kind]struct {
	name, title string
	closing     time.Duration
	causes      []string
	next        []string
}{
	sensor.PairOffset: {"sensor_pair_offset", "Flow and return sensors disagree by %.1f K when equally warm", 3 * day,
		[]string{"sensors of different make or with different cables", "a sensor without good contact to the pipe", "a sensor that has aged"},
		[]string{"compare both sensors in one cup of water, or at rest with the pump on", "enter the offset in the record until it is mended"}},
	sensor.Stuck: {"sensor_stuck", "%s has stood still for %s", 6 * time.Hour,
		[]string{"a sensor or its cable that has failed", "a publisher that repeats its last value"},
		[]string{"look at the reading in the controller itself", "restart the publisher", "check sensor and cable"}},
	sensor.Jumping: {"sensor_jumping", "%s jumps", day,
		[]string{"a loose contact or a damaged cable", "a sensor that has failed", "electrical disturbance"},
		[]string{"check terminals and cable", "change the sensor"}},
	sensor.SunStruck: {"sensor_sun_struck", "%s reads too warm in the sun", 4 * day,
		[]string{"the sensor sits where the sun reaches it or its wall", "warm air of the house or of the machine reaches it"},
		[]string{"move it to a shaded wall, off the ground and away from openings"}},
	sensor.WrongUnit: {"sensor_wrong_unit", "%s comes in another unit than the record says", 12 * time.Hour,
		[]string{"a unit that is wrong or missing in the record", "an update of the controller or publisher that changed it"},
		[]string{"compare one reading with the controller's display", "correct the channel's unit in the record and load the readings again"}},
}

// leastOffsetK: a smaller one is told as information.
const leastOffsetK = 0.5

// sensorFaults tells of what a day shows of sensors.
func sensorFaults(c *Case) []Finding {
	var found []Finding
	for _, kind := range []sensor.Kind{sensor.PairOffset, sensor.Stuck, sensor.Jumping, sensor.SunStruck, sensor.WrongUnit} {
		checks := c.Checks
		if kind == sensor.SunStruck { // the morning alone may look like it
			checks = endedBy(c.today(), checks)
		}
		for _, s := range joined(checks, kind, faults[kind].closing) {
			found = append(found, c.faultFinding(s))
		}
	}
	return found
}

func (c *Case) faultFinding(s suspected) Finding {
	fault := faults[s.Kind]
	f := Finding{
		Kind: fault.name, Severity: Attention, Since: s.since,
		Evidence: []Figure{{"size", s.Size, s.Unit, 1}, {"size_low", s.Low, s.Unit, 1}, {"size_high", s.High, s.Unit, 1}},
		Causes:   fault.causes, Next: fault.next, Caution: "Terminals may be live, and pipes hot: isolate before opening, as local rules say.",
	}
	if c.dataUntil().Sub(s.until) > fault.closing {
		f.Until = s.until
	}
	channels := make([]string, len(s.Channels))
	for i, ch := range s.Channels {
		channels[i] = string(ch)
	}
	switch s.Kind {
	case sensor.PairOffset:
		f.Title = fmt.Sprintf(fault.title, math.Abs(s.Size))
		if math.Abs(s.Size) < leastOffsetK {
			f.Severity = Info
		}
		return f
	case sensor.Stuck:
		f.Title = fmt.Sprintf(fault.title, channels[0], spell(s.until.Sub(s.since)))
	default:
		f.Title = fmt.Sprintf(fault.title, channels[0])
	}
	f.Kind += "/" + channels[0]
	return f
}

// endedBy leaves out what lasts longer.
func endedBy(at time.Time, all []sensor.Suspicion) []sensor.Suspicion {
	return slices.DeleteFunc(slices.Clone(all), func(s sensor.Suspicion) bool { return s.Until.After(at) })
}

// today is when the day that is not over began.
func (c *Case) today() time.Time {
	if whole := c.WholeDays(); len(whole) > 0 {
		return whole[len(whole)-1].To
	}
	return c.DaysFrom()
}

// dataUntil is the end of the last slot; Now without any.
func (c *Case) dataUntil() time.Time {
	if len(c.Slots) == 0 {
		return c.Now
	}
	return c.Slots[len(c.Slots)-1].To()
}

// sensorDrift tells of an outdoor sensor that moves away.
func sensorDrift(c *Case) []Finding {
	s, until, ok := c.drifting()
	if !ok {
		return nil
	}
	return []Finding{{
		Kind: "sensor_drifting/" + string(s.Channels[0]), Severity: Attention, Since: s.Since, Until: until,
		Title:    fmt.Sprintf("%s has drifted by %+.1f K", s.Channels[0], s.Size),
		Evidence: []Figure{{"drift_k", s.Size, "K", 1}, {"drift_low_k", s.Low, "K", 1}, {"drift_high_k", s.High, "K", 1}},
		Causes:   []string{"a sensor that ages or has got wet", "a sensor whose surroundings have changed"},
		Next:     []string{"hold it against a thermometer in the shade", "look at the nearest weather station"},
	}}
}

// driftNights a drift must have been seen in a row: one that comes and goes is
// weather. Weather also hides one for some nights, so it lasts until it has not been
// seen on driftGone of them.
const driftNights, driftGone = 3, 7

// drifting is the drift that was seen last, and when it ended; zero while it lasts.
func (c *Case) drifting() (last sensor.Suspicion, until time.Time, ok bool) {
	days := c.WholeDays()
	inARow, lastNight := 0, 0
	for night := range days {
		s, seen := sensor.Drift(days[:len(days)-night])
		if !seen {
			inARow = 0
			continue
		}
		if inARow == 0 {
			last, lastNight = s, night
		}
		if inARow++; inARow == driftNights {
			if lastNight >= driftGone {
				until = last.Until
			}
			return last, until, true
		}
	}
	return last, until, false
}

// daySuspicions are what the days that are over show.
func (c *Case) daySuspicions() []sensor.Suspicion {
	if c.byDays == nil {
		all := sensor.CheckDays(c.WholeDays(), c.Limits.Sensors)
		c.byDays = &all
	}
	return *c.byDays
}

// meterDisagreement tells of a meter's register that counts something else than the
// readings.
func meterDisagreement(c *Case) []Finding {
	whole := c.WholeDays()
	var found []Finding
	for _, channel := range []ingest.Channel{ingest.Channel(ingest.HeatRegister), ingest.Channel(ingest.ElectricityRegister)} {
		pieces := make([]Piece, len(whole))
		for i := range whole {
			pieces[i] = c.registerPiece(&whole[i], channel)
		}
		for _, e := range (Hold{registerDays, registerDays}).Episodes(pieces) {
			if f, ok := c.registerFinding(whole[e.First:e.Last], channel); ok {
				f.Since, f.Until = e.Since, e.Until
				found = append(found, f)
			}
		}
	}
	return found
}

// registerDays of disagreement open and close the finding.
const registerDays = 1

// registerPiece says whether a day's register agrees with its readings.
func (c *Case) registerPiece(d *siteday.Day, channel ingest.Channel) Piece {
	p := Piece{From: d.From, To: d.To}
	register := d.Sums.HeatRegister
	if channel == ingest.Channel(ingest.ElectricityRegister) {
		register = d.Sums.ElectricityRegister
	}
	const leastKWh = 3
	if register.IntegralKWh == 0 || max(register.RiseKWh, register.IntegralKWh) < leastKWh {
		return p
	}
	p.S, p.Sign = 1, Clear
	if _, ok := disagreement(sensor.CheckDays([]siteday.Day{*d}, c.Limits.Sensors), channel); ok {
		p.Sign = Bad
	}
	return p
}

func disagreement(all []sensor.Suspicion, channel ingest.Channel) (sensor.Suspicion, bool) {
	for _, s := range all {
		if s.Kind == sensor.RegisterDisagrees && s.Channels[0] == channel {
			return s, true
		}
	}
	return sensor.Suspicion{}, false
}

func (c *Case) registerFinding(days []siteday.Day, channel ingest.Channel) (Finding, bool) {
	s, ok := disagreement(sensor.CheckDays(days, c.Limits.Sensors), channel)
	return Finding{
		Kind: "meter_disagreement/" + string(channel), Severity: Attention,
		Title:    fmt.Sprintf("%s counts %.2f times what the readings make", channel, s.Size),
		Evidence: []Figure{{"register_by_readings", s.Size, "", 2}, {"low", s.Low, "", 2}, {"high", s.High, "", 2}},
		Causes:   []string{"a pulse value or a unit that is wrong", "a meter that covers something else", "sensors that are off or sit in another place", "a flow or power reading that is off"},
		Next:     []string{"compare register and display of the meter", "check pulse value and unit in publisher and record", "take a spot reading with a third meter"},
		Caution:  "Electricity meters are opened by licensed people only.",
	}, ok
}

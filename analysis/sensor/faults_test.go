package sensor_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/sensor"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// fault is one row of the table: what is wrong, and what must be found.
type fault struct {
	name    string
	trouble rig.Trouble // of the rig, or
	change  spoil       // done to its readings
	month   time.Month
	plants  []uint64
	alike   []sensor.Kind // what may be said of it
	channel ingest.Channel
	size    float64 // true size where there is one
	within  bool    // the interval must hold it
}

// faults stand on the rig: its truth is what the trouble was. Plants that
// cannot show a fault in a day are left out and named in TestWhatADayCannotTell.
func faults() []fault {
	some := []uint64{1, 2, 3, 4, 5, 6}
	rows := []fault{
		{name: "flow sensor 1 K high", trouble: rig.Trouble{Kind: rig.SensorOffset, Size: 1}, plants: []uint64{5, 9, 10, 11, 13, 16},
			alike: []sensor.Kind{sensor.PairOffset}, size: 1, within: true},
		{name: "flow sensor 0.6 K low", trouble: rig.Trouble{Kind: rig.SensorOffset, Size: -0.6}, plants: []uint64{5, 9, 10, 11, 13, 16},
			alike: []sensor.Kind{sensor.PairOffset}, size: -0.6, within: true},
		{name: "flow and return swapped", trouble: rig.Trouble{Kind: rig.SwappedSensors}, plants: some, alike: []sensor.Kind{sensor.Swapped}},
		{name: "outdoor stuck", trouble: rig.Trouble{Kind: rig.OutdoorStuck}, plants: some, alike: []sensor.Kind{sensor.Stuck}, channel: "outdoor_temp"},
		{name: "outdoor jumping", trouble: rig.Trouble{Kind: rig.OutdoorJumping}, plants: some, alike: []sensor.Kind{sensor.Jumping}, channel: "outdoor_temp"},
		{name: "outdoor in the sun, sunny days in April", trouble: rig.Trouble{Kind: rig.OutdoorSunStruck}, month: time.April, plants: []uint64{2, 3, 4, 8, 10, 11},
			alike: []sensor.Kind{sensor.SunStruck}, channel: "outdoor_temp"},
		{name: "flow l/min as l/h", trouble: rig.Trouble{Kind: rig.WrongFlowUnit}, plants: some, alike: []sensor.Kind{sensor.WrongUnit}, channel: "flow_rate", size: 60, within: true},
		{name: "power kW as W", trouble: rig.Trouble{Kind: rig.WrongPowerUnit}, plants: some, alike: []sensor.Kind{sensor.WrongUnit}, channel: "power", size: 1000, within: true},
		{name: "clock 2 h ahead at once", trouble: rig.Trouble{Kind: rig.ClockOffset, Size: 2}, plants: some, alike: []sensor.Kind{sensor.ClockOffset}, size: 2, within: true},
		{name: "clock 3 h back at once", trouble: rig.Trouble{Kind: rig.ClockOffset, Size: -3}, plants: some, alike: []sensor.Kind{sensor.ClockOffset}, size: -3, within: true},
		{name: "clock jumping", trouble: rig.Trouble{Kind: rig.ClockJumps}, plants: some, alike: []sensor.Kind{sensor.ClockJumps, sensor.ClockOffset}},
	}
	return append(rows, spoilt(some)...)
}

// spoilt are faults that the rig does not have, made of its readings.
func spoilt(some []uint64) []fault {
	unit := []sensor.Kind{sensor.WrongUnit}
	stuck := []sensor.Kind{sensor.Stuck}
	return []fault{
		{name: "flow m³/h as l/h", change: times("flow_rate", 1e-3), plants: some, alike: unit, channel: "flow_rate", size: 1000, within: true},
		{name: "heat output kW as W", change: times("heat_output", 1e-3), plants: some, alike: unit, channel: "heat_output", size: 1000, within: true},
		{name: "flow and return °F as °C", change: toF("flow_temp", "return_temp"), plants: some, alike: unit, channel: "flow_temp"},
		{name: "return °F as °C", change: toF("return_temp"), plants: some, alike: unit, channel: "return_temp"},
		{name: "cylinder °F as °C", change: toF("cylinder_temp"), plants: some, alike: unit, channel: "cylinder_temp"},
		{name: "outdoor °F as °C, April", month: time.April, change: toF("outdoor_temp"), plants: []uint64{5, 6, 7, 8}, alike: unit, channel: "outdoor_temp"},
		{name: "flow temperature stuck", change: freeze("flow_temp"), plants: []uint64{4, 5, 9, 10, 11, 13}, alike: stuck, channel: "flow_temp"},
		{name: "return temperature stuck", change: freeze("return_temp"), plants: []uint64{4, 5, 9, 10, 11, 13}, alike: stuck, channel: "return_temp"},
		{name: "power stuck", change: freeze("power"), plants: []uint64{5, 9, 10, 11, 13, 16}, alike: stuck, channel: "power"},
		{name: "flow rate stuck", change: freeze("flow_rate"), plants: []uint64{5, 9, 10, 11, 13, 16}, alike: stuck, channel: "flow_rate"},
		{name: "flow rate stuck at 0", change: times("flow_rate", 0), plants: some, alike: stuck, channel: "flow_rate"},
		{name: "cylinder stuck", change: freeze("cylinder_temp"), plants: some, alike: stuck, channel: "cylinder_temp"},
		{name: "room stuck", change: freeze("room_temp/living"), plants: some, alike: stuck, channel: "room_temp/living"},
		{name: "flow temperature with spikes", change: spike("flow_temp"), plants: some, alike: []sensor.Kind{sensor.Jumping}, channel: "flow_temp"},
	}
}

func times(ch ingest.Channel, factor float64) spoil {
	return func(r *ingest.Reading) bool {
		if r.Channel == ch {
			r.Value *= factor
		}
		return true
	}
}

func toF(channels ...ingest.Channel) spoil {
	return func(r *ingest.Reading) bool {
		if slices.Contains(channels, r.Channel) {
			r.Value = r.Value*9/5 + 32
		}
		return true
	}
}

// freeze keeps the first value after the onset that is none of a coarse step.
func freeze(ch ingest.Channel) spoil {
	kept, is := 0.0, false
	return func(r *ingest.Reading) bool {
		if r.Channel != ch {
			return true
		}
		if fine := r.Value*2 != float64(int(r.Value*2)) || ch == "flow_rate" && int(r.Value)%10 != 0 || ch == "power"; !is && fine && r.Value != 0 {
			kept, is = r.Value, true
		}
		if is {
			r.Value = kept
		}
		return true
	}
}

// spike is the 85 °C that a common digital sensor reports after losing power.
func spike(ch ingest.Channel) spoil {
	n := 0
	return func(r *ingest.Reading) bool {
		if r.Channel == ch {
			if n++; n%37 == 0 {
				r.Value = 85
			}
		}
		return true
	}
}

// onset is early on some day, so that all of the first day's sun follows.
func onset(month time.Month, seed uint64) time.Time {
	if month == 0 {
		month = time.January
	}
	return time.Date(2026, month, 10+int(seed%7), 6, 0, 0, 0, time.UTC)
}

// Source: the rig's own truth. Each fault is found within a day of its onset,
// from readings every 10 s and every minute, and nothing else is suspected.
func TestEachFaultIsFoundWithinADay(t *testing.T) {
	var table strings.Builder
	for _, f := range faults() {
		for i, interval := range []time.Duration{10 * time.Second, time.Minute} {
			fmt.Fprintf(&table, "%-40s %4v", f.name, interval)
			plants := f.plants
			if !long() {
				plants = plants[i : i+1]
			}
			for _, seed := range plants {
				table.WriteString(f.play(t, seed, interval))
			}
			table.WriteByte('\n')
		}
	}
	t.Logf("size found, and hours until it was, by plant\n%s", table.String())
}

func (f fault) play(t *testing.T, seed uint64, interval time.Duration) string {
	p := rig.Random(seed)
	p.Metering.Interval, p.Metering.Quantities = interval, nil
	at := onset(f.month, seed)
	change := f.change
	if f.trouble.Kind != "" {
		f.trouble.At = at
		p.Troubles = []rig.Trouble{f.trouble}
	}
	if change != nil {
		change = rows(f.name, change)
	}
	s := around(t, p, at, change)
	what := fmt.Sprintf("%s, %s every %v", f.name, p.ID, interval)
	found := s.check(at.Add(afterOnset))
	if !assert.Len(t, found, 1, what) {
		return " -"
	}
	f.judge(t, found[0], p, at, what)
	return fmt.Sprintf("  %7.2f in %s", found[0].Size, f.delay(s, at))
}

// fewPlants keeps the ordinary run short.
func fewPlants() int {
	if long() {
		return 100
	}
	return 2
}

// judge holds a suspicion against the truth.
func (f fault) judge(t *testing.T, s sensor.Suspicion, p rig.Plant, at time.Time, what string) {
	assert.Contains(t, f.alike, s.Kind, what)
	assert.NotEmpty(t, s.Detail, what)
	assert.True(t, s.Low <= s.Size && s.Size <= s.High && s.Since.Before(s.Until), "%s: %+v", what, s)
	if f.channel != "" {
		assert.Contains(t, s.Channels, f.channel, what)
	}
	size := f.size
	if f.trouble.Kind == rig.SensorOffset {
		size += p.Metering.PairOffsetK
	}
	if f.within {
		assert.True(t, s.Low <= size && size <= s.High, "%s: %g in %g to %g", what, size, s.Low, s.High)
	}
}

// delay is how many hours of readings it took, on the long run.
func (f fault) delay(s scene, at time.Time) string {
	if !long() {
		return "24"
	}
	for _, h := range []int{1, 2, 3, 6, 9, 12, 18} {
		if found := s.check(at.Add(time.Duration(h) * time.Hour)); len(found) > 0 && slices.Contains(f.alike, found[0].Kind) {
			return fmt.Sprintf("%2d", h)
		}
	}
	return "24"
}

// rows makes a fresh change of a row, whose state must not pass on.
func rows(name string, same spoil) spoil {
	for _, f := range spoilt(nil) {
		if f.name == name {
			return f.change
		}
	}
	return same
}

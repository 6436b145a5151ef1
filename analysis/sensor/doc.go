// Package sensor finds faults of sensors and telemetry from the readings alone:
// a pair of thermometers that disagrees at rest, flow and return exchanged, a
// reading that stands still, jumps, drifts or sits in the sun, a wrong unit, a
// register that counts something else, a clock that is wrong.
//
// It is opinionated: silence is better than a false alarm, so a fault is named
// only where a healthy plant could not have made the same readings, and what a
// day cannot decide is left to several days or to nobody. Nothing is corrected
// here. What the plant does wrong (little flow, too many defrosts) is no
// business of this package and must not look like a fault of its sensors.
//
// Check looks at about a day of readings, CheckDays at site days. Suspicions of
// neighbouring days repeat themselves; the caller joins them.
//
// What readings cannot tell: an offset of a pair while the compressor never
// rests with the pump on; an outdoor sensor that was always off by the same; a
// clock that was wrong from the first reading on, unless irradiance and the
// place, a schedule, or weeks of days are there; how long readings took to
// arrive.
package sensor

import (
	"time"

	"coldweek/ingest"
)

// Kind names a fault.
type Kind string

// The faults.
const (
	PairOffset        Kind = "pair_offset"        // K, flow above return at rest
	Swapped           Kind = "swapped"            // K, flow less return while heating
	Stuck             Kind = "stuck"              // h without a change
	Jumping           Kind = "jumping"            // size of the jumps, in the channel's unit
	SunStruck         Kind = "sun_struck"         // K too warm at the highest sun
	Drifting          Kind = "drifting"           // K by which the outdoor sensor has moved
	WrongUnit         Kind = "wrong_unit"         // factor a reading must be multiplied by
	RegisterDisagrees Kind = "register_disagrees" // register by integral
	ClockOffset       Kind = "clock_offset"       // h the clock is ahead
	ClockJumps        Kind = "clock_jumps"        // min, size of the jumps
)

// Suspicion is one fault and why it is suspected.
type Suspicion struct {
	Kind     Kind
	Channels []ingest.Channel // of a clock, the one it was seen in, if it was one
	// Since and Until bound the readings that show it. Since is the onset where
	// the readings before were right, else where they begin.
	Since, Until time.Time
	// Size is the fault's in Unit, Low and High its 95 % interval.
	// Where a fault is what it is, as a unit, they are the same.
	Size, Low, High float64
	Unit            string
	Detail          string  // in an engineer's words
	Effect          *Effect // nil where heat and SPF do not suffer
}

// Effect is by how much shown figures are too high (negative: too low).
type Effect struct{ HeatPct, SPFPct float64 }

// Known is what the site record says; a zero value is not known.
type Known struct {
	PairOffsetK    float64 // already taken off the difference of flow and return
	FlowLPH        float64 // as commissioned or, failing that, designed
	MinimumFlowLPH float64
	RatedHeatW     float64
	Place          *Place
	// HotWater are the local hours in which charging may begin; none means any.
	HotWater []Hours
}

// Place is where the plant stands.
type Place struct{ LatitudeDeg, LongitudeDeg float64 }

// Hours are a span of the local day, 4.5 to 7 for half past four to seven.
type Hours struct{ FromH, ToH float64 }

// Package instrument turns true values into what a sensor or meter reports:
// lagged, noisy, rounded, sampled on its own clock, and sometimes not at all.
package instrument

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// Spec says how an instrument sees what it measures. Noise, Resolution,
// Offset and Below are in the unit of the channel.
type Spec struct {
	Interval   time.Duration // between samples
	LagS       float64       // first-order time constant; 0 follows at once
	Noise      float64       // standard deviation of one sample
	NoiseShare float64       // the same as a share of the value
	Resolution float64       // values are rounded to multiples; 0 keeps all digits
	Offset     float64       // added to every value
	Gain       float64       // every value is multiplied by it; 0 means 1
	Below      float64       // smaller magnitudes read as 0 (a flow sensor's cut-off)
	OnChange   bool          // published only when the rounded value changes, and every Heartbeat
	Heartbeat  time.Duration // with OnChange: the longest silence; 0 means 10 minutes
}

// Validate says what is impossible about a spec.
func (s Spec) Validate() error {
	switch {
	case s.Interval < time.Millisecond:
		return fmt.Errorf("interval of %v; use 1 s to 1 h", s.Interval)
	case s.LagS < 0 || s.Noise < 0 || s.NoiseShare < 0 || s.Resolution < 0 || s.Gain < 0 || s.Below < 0:
		return fmt.Errorf("lag, noise, resolution, gain and cut-off must not be negative")
	}
	return nil
}

// usualHeartbeat is the longest silence of a channel published on change.
const usualHeartbeat = 10 * time.Minute

// Silence is the longest time between two published samples.
func (s Spec) Silence() time.Duration {
	switch {
	case !s.OnChange:
		return s.Interval
	case s.Heartbeat > 0:
		return s.Heartbeat
	}
	return usualHeartbeat
}

// Meter is an instrument at work.
type Meter struct {
	spec        Spec
	grid        multiples
	follow      float64 // share of the step the lag covers
	seen        float64
	primed      bool
	last        float64
	sent        bool
	lastMS      int64
	intervalMS  int64
	heartbeatMS int64
	nominalMS   int64 // of the next sample, when it is on time
	dueMS       int64
}

// NewMeter starts an instrument whose first sample is due at firstMS, fed
// every step.
func NewMeter(s Spec, step time.Duration, firstMS int64) Meter {
	m := Meter{spec: s, grid: grid(s.Resolution), follow: 1, nominalMS: firstMS, dueMS: firstMS,
		intervalMS: s.Interval.Milliseconds(), heartbeatMS: s.Silence().Milliseconds()}
	if s.LagS > 0 {
		m.follow = 1 - math.Exp(-step.Seconds()/s.LagS)
	}
	if m.spec.Gain == 0 {
		m.spec.Gain = 1
	}
	return m
}

// Feed shows the instrument the true value of one step.
func (m *Meter) Feed(value float64) {
	if !m.primed {
		m.seen, m.primed = value, true
		return
	}
	m.seen += (value - m.seen) * m.follow
}

// Lags says whether the instrument needs to see every step.
func (m *Meter) Lags() bool { return m.follow < 1 }

// DueMS is when the next sample is taken.
func (m *Meter) DueMS() int64 { return m.dueMS }

// AfterMS is when the sample after the next one should be taken.
func (m *Meter) AfterMS() int64 { return m.nominalMS + m.intervalMS }

// Schedule plans the sample after the one that was due; it comes late.
func (m *Meter) Schedule(lateMS int64) {
	m.nominalMS += m.intervalMS
	m.dueMS = m.nominalMS + lateMS
}

// Read takes a sample at the time: what the instrument reports, and whether
// it publishes it.
func (m *Meter) Read(atMS int64, random *rand.Rand) (value float64, publish bool) {
	s := &m.spec
	value = m.seen*s.Gain + s.Offset
	if spread := s.Noise + s.NoiseShare*math.Abs(value); spread > 0 {
		value += spread * random.NormFloat64()
	}
	if math.Abs(value) < s.Below {
		value = 0
	}
	value = m.grid.round(value)
	if s.OnChange && m.sent && value == m.last && atMS-m.lastMS < m.heartbeatMS {
		return value, false
	}
	m.last, m.lastMS, m.sent = value, atMS, true
	return value, true
}

// Round rounds to the nearest multiple of the resolution; it never returns
// the negative zero, which would be written as -0.
func Round(value, resolution float64) float64 { return grid(resolution).round(value) }

// multiples of a resolution, as whole numbers per unit where there are some:
// dividing by them gives the decimal people would write.
type multiples struct{ step, per float64 }

func grid(resolution float64) multiples {
	if resolution <= 0 {
		return multiples{}
	}
	if per := math.Round(1 / resolution); per >= 1 && math.Abs(per*resolution-1) < 1e-9 {
		return multiples{step: resolution, per: per}
	}
	return multiples{step: resolution}
}

func (g multiples) round(value float64) float64 {
	switch {
	case g.per > 0:
		value = math.Round(value*g.per) / g.per
	case g.step > 0:
		value = math.Round(value/g.step) * g.step
	}
	if value == 0 {
		return 0
	}
	return value
}

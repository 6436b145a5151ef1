package rig

import (
	"math"
	"math/rand/v2"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig/instrument"
)

// sampler is one channel's instrument.
type sampler struct {
	channel ingest.Channel
	source  source
	room    int
	slow    bool // lags by a minute or more: fed by the controller's clock
	meter   instrument.Meter
}

// telemetry is all the plant publishes.
type telemetry struct {
	samplers []sampler
	fast     []int // samplers that need every step
	slow     []int // samplers that need every look of the controller
	nextMS   int64 // of the earliest sample due
	due      []dueReading
	random   *rand.Rand
	bursts   instrument.Outage
	gaps     instrument.Outage

	electricJ, heatJ, volumeL float64 // registers, as the meters count
	pumpW, heatersW           float64 // of this step
	resetMS                   int64
	jitterMS                  int64
	ownClocks                 bool
}

type dueReading struct {
	atMS    int64
	channel ingest.Channel
	value   float64
}

func newTelemetry(p *Plant, startMS int64, step time.Duration) telemetry {
	t := telemetry{
		nextMS:  startMS,
		random:  rand.New(rand.NewPCG(p.Seed, 0x6d65746572)),
		resetMS: math.MaxInt64, jitterMS: p.Metering.Jitter.Milliseconds(), ownClocks: p.Metering.OwnClocks,
	}
	const burst, gap = 70 * time.Second, 4 * time.Hour
	t.bursts = instrument.NewOutage(p.Metering.DropoutShare, burst, startMS, t.random)
	t.gaps = instrument.NewOutage(p.Metering.GapsPerMonth*gap.Hours()/(30*24), gap, startMS, t.random)
	if p.Metering.RegisterResetAfter > 0 {
		t.resetMS = startMS + p.Metering.RegisterResetAfter.Milliseconds()
	}
	t.electricJ = p.Metering.RegisterStartKWh * jPerKWh
	t.heatJ = 3.3 * t.electricJ
	room := 0
	for _, c := range p.Channels() {
		firstMS := startMS
		if t.ownClocks {
			firstMS += t.random.Int64N(p.spec(c.Quantity()).Interval.Milliseconds())
		}
		s := p.newSampler(c, firstMS, step)
		if c.Quantity() == ingest.RoomTemp {
			s.room = room
			room++
		}
		switch {
		case s.slow:
			t.slow = append(t.slow, len(t.samplers))
		case s.meter.Lags():
			t.fast = append(t.fast, len(t.samplers))
		}
		t.samplers = append(t.samplers, s)
	}
	t.due = make([]dueReading, 0, len(t.samplers))
	return t
}

// slowLagS is the lag from which feeding every few steps is the same.
const slowLagS = 60

func (p *Plant) newSampler(c ingest.Channel, firstMS int64, step time.Duration) sampler {
	spec := p.spec(c.Quantity())
	if c.Quantity() == ingest.FlowTemp {
		spec.Offset += p.Metering.PairOffsetK
	}
	s := sampler{channel: c}
	s.source, _ = sourceOf(c.Quantity())
	s.slow = spec.LagS >= slowLagS
	if s.slow {
		step = controlEvery
	}
	s.meter = instrument.NewMeter(spec, step, firstMS)
	return s
}

// feedFast shows every step to the instruments that need it.
func (t *telemetry) feedFast(r *Rig) {
	for _, i := range t.fast {
		s := &t.samplers[i]
		s.meter.Feed(r.truly(s))
	}
}

func (t *telemetry) feedSlow(r *Rig) {
	for _, i := range t.slow {
		s := &t.samplers[i]
		s.meter.Feed(r.truly(s))
	}
}

// integrate advances the registers as their meters count.
func (t *telemetry) integrate(r *Rig, e *entry) {
	t.electricJ += (e.electricW + e.backupW) * e.stepS * r.eff.register
	if e.sensorW > 0 || r.plant.Metering.HeatRegisterBothWays {
		t.heatJ += e.sensorW * e.stepS * r.eff.register
	}
	t.volumeL += r.loop.flowLPH * e.stepS / 3600
}

// emit takes the samples due before now and hands them out in order.
func (t *telemetry) emit(r *Rig, emit func(ingest.Reading)) {
	t.due = t.due[:0]
	t.nextMS = math.MaxInt64
	if r.nowMS > t.resetMS {
		t.electricJ, t.heatJ, t.volumeL, t.resetMS = 0, 0, 0, math.MaxInt64
	}
	for i := range t.samplers {
		s := &t.samplers[i]
		for s.meter.DueMS() < r.nowMS {
			if emit != nil {
				t.sample(r, s)
			}
			s.meter.Schedule(t.lateMS(s.meter.AfterMS()))
		}
		t.nextMS = min(t.nextMS, s.meter.DueMS())
	}
	for _, d := range t.due {
		emit(ingest.Reading{Site: r.plant.ID, Channel: d.channel,
			Time: r.time(d.atMS + r.eff.clockMS + r.jumpedMS()), Value: d.value})
	}
}

// lateMS is how late a sample of a time is. Channels read at one time are late
// together, unless each has its own clock.
func (t *telemetry) lateMS(atMS int64) int64 {
	switch {
	case t.jitterMS == 0:
		return 0
	case t.ownClocks:
		return t.random.Int64N(t.jitterMS)
	}
	mixed := uint64(atMS) * 0x9e3779b97f4a7c15 // Fibonacci hashing
	return int64((mixed >> 33) % uint64(t.jitterMS))
}

func (r *Rig) jumpedMS() int64 {
	if r.eff.clockJumpMS == 0 {
		return 0
	}
	return r.clockJumpMS
}

// sample reads one instrument; the sample is lost in outages.
func (t *telemetry) sample(r *Rig, s *sampler) {
	atMS := s.meter.DueMS()
	if !s.meter.Lags() {
		s.meter.Feed(r.truly(s))
	}
	value, publish := s.meter.Read(atMS, t.random)
	value = r.mistake(s, value)
	lost := r.eff.silent || t.bursts.Down(atMS, t.random) || t.gaps.Down(atMS, t.random)
	if !publish || lost {
		return
	}
	if r.eff.garbage > 0 && t.random.Float64() < r.eff.garbage {
		value = garbage[t.random.IntN(len(garbage))]
	}
	i := len(t.due)
	t.due = append(t.due, dueReading{})
	for ; i > 0 && t.due[i-1].atMS > atMS; i-- {
		t.due[i] = t.due[i-1]
	}
	t.due[i] = dueReading{atMS, s.channel, value}
}

// mistake is a value in a unit its channel does not have.
func (r *Rig) mistake(s *sampler, value float64) float64 {
	switch {
	case s.source == flowRateSource && r.eff.flowReadingShare != 1:
		return instrument.Round(value*r.eff.flowReadingShare, 0.01)
	case s.source == powerSource && r.eff.powerReadingShare != 1:
		return instrument.Round(value*r.eff.powerReadingShare, 0.001)
	}
	return value
}

// garbage is what broken publishers send: no number, or one that no sensor
// means.
var garbage = [...]float64{math.NaN(), -9999, 1e12, math.Inf(1), math.NaN()}

// truly is the value in front of an instrument.
func (r *Rig) truly(s *sampler) float64 {
	t := &r.tele
	switch s.source {
	case flowSource:
		if r.eff.swapped {
			return r.loop.retC
		}
		return r.loop.hxC + r.eff.flowSensorK
	case returnSource:
		if r.eff.swapped {
			return r.loop.hxC + r.eff.flowSensorK
		}
		return r.loop.retC
	case flowRateSource:
		return r.loop.flowLPH
	case powerSource:
		return r.entry.electricW + r.entry.backupW
	case heatSource:
		return r.entry.sensorW
	case speedSource:
		return r.speedHz()
	case pumpSource:
		return t.pumpW
	case backupSource:
		return t.heatersW
	case modeSource:
		return float64(r.mode())
	case targetSource:
		return r.ctl.targetC
	case outdoorSource:
		return r.sensedC
	case humiditySource:
		return r.humidityPct
	case irradianceSource:
		return r.irradianceWPerM2
	case roomSource:
		return r.roomC(s.room)
	case cylinderSource:
		return r.cylinder.waterC
	case pressureSource:
		return 1.35 + 0.008*((r.loop.e1C+r.loop.retC)/2-20) + 0.1*min(1, r.loop.flowLPH/1000)
	case electricitySource:
		return r.rolled(t.electricJ / jPerKWh)
	case heatRegisterSource:
		return r.rolled(t.heatJ / jPerKWh)
	default:
		return t.volumeL / 1000
	}
}

func (r *Rig) rolled(countKWh float64) float64 {
	if rollKWh := r.plant.Metering.RegisterRollsOverKWh; rollKWh > 0 {
		return math.Mod(countKWh, rollKWh)
	}
	return max(0, countKWh)
}

// roomC is a room's own temperature: rooms lie around the mean, the first has
// the sun.
func (r *Rig) roomC(room int) float64 {
	n := len(r.plant.House.Rooms)
	offsetK := 0.0
	if n > 1 {
		offsetK = 0.5 - float64(room)/float64(n-1)
	}
	return r.house.airC + offsetK
}

// mode is what the controller says it is doing.
func (r *Rig) mode() ingest.Mode {
	switch {
	case r.machine.phase == defrosting:
		return ingest.ModeDefrost
	case r.machine.phase == running && r.ctl.toCylinder:
		return ingest.ModeHotWater
	case r.machine.phase == running || r.entry.heaterInFlow:
		return ingest.ModeHeating
	}
	return ingest.ModeOff
}

// speedHz is the compressor's speed.
func (r *Rig) speedHz() float64 {
	m := &r.machine
	switch {
	case m.phase == running:
		return m.spec.MaximumHz * m.load * min(1, 0.3+m.sinceS/60)
	case m.phase == defrosting && m.dripping == 0 && m.sinceS >= dipS:
		return m.spec.MaximumHz * 0.7
	}
	return 0
}

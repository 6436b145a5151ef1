package siteday

import (
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	// overrunS after a stop, a pump that still runs carries off the machine's
	// last heat (common practice, no source).
	overrunS = 10 * 60
	// frostOutdoorC: colder than this, a pump without a compressor may be
	// guarding pipes against frost; controllers begin at 3 to 5 °C (common
	// practice, no source).
	frostOutdoorC = 4
)

// Pump is the circulation pump at work while the compressor rests, and the
// electricity that goes with it. OverrunS, FrostS and IdleS together are the
// time of the state Circulating.
type Pump struct {
	OverrunS float64 `json:"overrun_s"` // soon after a stop
	FrostS   float64 `json:"frost_s"`   // not after a stop, but so cold that it may be frost protection
	IdleS    float64 `json:"idle_s"`    // neither

	// What the site's electricity meter saw in IdleS, and with compressor and
	// water at rest: the pump is the difference, where that meter covers it.
	IdleJ        float64 `json:"idle_j"`
	IdleCoveredS float64 `json:"idle_covered_s"`
	RestJ        float64 `json:"rest_j"`
	RestCoveredS float64 `json:"rest_covered_s"`

	// The pump's own meter: of the time with heat and power known, and of it
	// what fell into IdleS.
	OwnJ      float64 `json:"own_j"`
	OwnKnownS float64 `json:"own_known_s"`
	OwnIdleJ  float64 `json:"own_idle_j"`
	OwnIdleS  float64 `json:"own_idle_s"`
}

func (p *Pump) add(o *Pump) {
	p.OverrunS += o.OverrunS
	p.FrostS += o.FrostS
	p.IdleS += o.IdleS
	p.IdleJ += o.IdleJ
	p.IdleCoveredS += o.IdleCoveredS
	p.RestJ += o.RestJ
	p.RestCoveredS += o.RestCoveredS
	p.OwnJ += o.OwnJ
	p.OwnKnownS += o.OwnKnownS
	p.OwnIdleJ += o.OwnIdleJ
	p.OwnIdleS += o.OwnIdleS
}

// pump sorts the time in which water moves without a compressor.
func (s *summer) pump() {
	p, ownW := &s.sums.Pump, s.t.Mean(ingest.Channel(ingest.PumpPower))
	restedS := math.Inf(1) // since the last stop
	for i := 0; i < s.last; i++ {
		durS, state := s.t.DurS[i], s.op.State[i]
		if state.Running() {
			restedS = 0
		}
		overrun := restedS < overrunS
		if !state.Running() {
			restedS += durS
		}
		if i < s.first {
			continue
		}
		idle := state == operation.Circulating && !overrun && !(trace.At(s.t.OutdoorC, i) < frostOutdoorC)
		switch {
		case idle:
			p.IdleS += durS
		case state == operation.Circulating && overrun:
			p.OverrunS += durS
		case state == operation.Circulating:
			p.FrostS += durS
		}
		s.pumpElectricity(i, idle, trace.At(ownW, i))
	}
}

func (s *summer) pumpElectricity(i int, idle bool, ownW float64) {
	if !s.t.Covered(i) {
		return
	}
	p, durS := &s.sums.Pump, s.t.DurS[i]
	_, electricityJ := s.energies(i)
	switch {
	case idle:
		p.IdleJ += electricityJ
		p.IdleCoveredS += durS
	case s.op.State[i] == operation.Off:
		p.RestJ += electricityJ
		p.RestCoveredS += durS
	}
	if math.IsNaN(ownW) {
		return
	}
	ownJ := max(ownW, 0) * durS
	p.OwnJ += ownJ
	p.OwnKnownS += durS
	if idle {
		p.OwnIdleJ += ownJ
		p.OwnIdleS += durS
	}
}

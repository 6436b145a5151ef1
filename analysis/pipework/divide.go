package pipework

import (
	"errors"
	"fmt"
	"math"
)

// Division is how flow divides when every valve stands open and only flow
// setters hold anything back: legs side by side have the same loss.
type Division struct {
	FlowLPH    float64 // total
	HeadKPa    float64 // what the whole takes
	FlowsLPH   []float64
	ThrottlePa []float64 // by leg: what its setter takes beyond fully open
	Rounds     int
}

const (
	maximumRounds = 400
	// hastyRounds is how long all setters may be held and let go at once. That
	// nearly always settles it; setters over setters can go round in circles,
	// and taking them one at a time, always the first of those that are wrong,
	// ends in any case (Murty 1974, for linear networks).
	hastyRounds = 20
	// calm is the change of flows below which the next setter is looked at.
	calm = 1e-4
	// settled is the change of flows between two rounds, relative, that ends
	// the search.
	settled = 1e-11
	// startVelocityMPerS is where the search begins; any flow would do.
	startVelocityMPerS = 0.5
)

// Divide lets the pump drive the flow: total and head are its working point with
// every valve open.
//
// The error says why the division is not known, here and in DivideFlow.
func (s *System) Divide() (*Division, error) {
	if len(s.Pump) == 0 {
		return nil, errors.New("no pump curve is given")
	}
	d, err := s.divide(func(all line, _ float64) (headPa float64) {
		return 1000 * s.Pump.meet(1000*all.conductanceLPHPerPa, all.offsetLPH)
	})
	if err == nil && d.FlowLPH > s.Pump.EndLPH()*(1+settled) {
		return nil, fmt.Errorf("with every valve open more than %.0f l/h would flow, where the pump curve ends", s.Pump.EndLPH())
	}
	return d, err
}

// DivideFlow divides a given total, as of a pump that is held to a flow.
func (s *System) DivideFlow(totalLPH float64) (*Division, error) {
	if most := s.mostLPH(); most <= totalLPH*(1+calm) {
		return nil, fmt.Errorf("the flow setters let through %.0f l/h at most, and %.0f l/h are to flow", most, totalLPH)
	}
	return s.divide(func(all line, headPa float64) float64 {
		if all.conductanceLPHPerPa == 0 {
			return headPa / 2 // all is held: less head lets one go
		}
		return (totalLPH - all.offsetLPH) / all.conductanceLPHPerPa
	})
}

// drive returns the head at the heat pump that drives a straight network, from
// the head of the round before.
type drive func(all line, headPa float64) float64

// divide solves for the flows by Newton's method: each leg's loss is drawn
// straight about its flow, the straight network is solved exactly from the ends
// to the pump and back, and that is repeated until nothing changes. A setter
// whose flow would pass what it is set to is held there, and let go when it
// would have to push.
func (s *System) divide(drive drive) (*Division, error) {
	if err := s.divisible(); err != nil {
		return nil, err
	}
	d := newDivider(s)
	before := math.Inf(1)
	for round := 1; round <= maximumRounds; round++ {
		change := d.step(drive)
		if change > before/2 {
			d.meetHalfway()
		}
		before = change
		held := false
		if round <= hastyRounds || change < calm {
			held = d.holdAndRelease(round > hastyRounds)
		}
		if change < settled && !held {
			return &Division{d.totalOf(d.flows), d.rootPa / 1000, d.flows, d.throttle, round}, nil
		}
	}
	return nil, fmt.Errorf("the flows did not settle in %d rounds", maximumRounds)
}

// mostLPH is what flow setters let through at most, +Inf without any.
func (s *System) mostLPH() float64 {
	below, most := make([]float64, len(s.Legs)), 0.0
	ends := s.ends()
	for i := len(s.Legs) - 1; i >= 0; i-- {
		if ends[i] {
			below[i] = math.Inf(1)
		}
		if limitLPH, ok := s.Legs[i].limitLPH(); ok {
			below[i] = min(below[i], limitLPH)
		}
		if parent := s.Legs[i].Parent; parent != AtHeatPump {
			below[parent] += below[i]
		} else {
			most += below[i]
		}
	}
	return most
}

// divisible refuses what has no one answer: a leg that costs nothing at its end,
// or serves something before it, would take all the flow.
func (s *System) divisible() error {
	ends := s.ends()
	for i := range s.Legs {
		leg := &s.Legs[i]
		switch {
		case !ends[i] && leg.FlowLPH > 0:
			return fmt.Errorf("%q serves something and goes on: give what it serves a leg of its own", leg.Name)
		case ends[i] && leg.LengthM == 0 && leg.Zeta == 0 && leg.KvM3H == 0 && leg.Setter == nil:
			return fmt.Errorf("%q ends without any loss: add what it serves to its fittings", leg.Name)
		}
	}
	return nil
}

// divider holds one round's state. Heads are in Pa.
type divider struct {
	*System
	ends     []bool
	flows    []float64
	previous []float64
	rootPa   float64   // head at the heat pump
	held     []bool    // at what its setter is set to
	headPa   []float64 // left after the leg
	throttle []float64
	// flow = conductance x head + offset, of the leg and all on it, by the
	// head before it; below, of all that hangs on it, by the head after it.
	before, after []line
}

// line is a straight relation of flow to head.
type line struct{ conductanceLPHPerPa, offsetLPH float64 }

func newDivider(s *System) *divider {
	n := len(s.Legs)
	d := &divider{System: s, ends: s.ends(), flows: make([]float64, n), previous: make([]float64, n), held: make([]bool, n),
		headPa: make([]float64, n), throttle: make([]float64, n), before: make([]line, n), after: make([]line, n)}
	for i := range s.Legs {
		leg := &s.Legs[i]
		areaM2 := math.Pi * leg.Pipe.BoreM * leg.Pipe.BoreM / 4
		d.flows[i] = float64(leg.Parallel) * startVelocityMPerS * areaM2 / litresPerHour
	}
	return d
}

// step solves the straightened network and returns the greatest change.
func (d *divider) step(drive drive) (change float64) {
	copy(d.previous, d.flows)
	d.rootPa = drive(d.gather(), d.rootPa)
	for i := range d.Legs {
		leg, headPa := &d.Legs[i], d.rootPa
		if leg.Parent != AtHeatPump {
			headPa = d.headPa[leg.Parent]
		}
		d.spread(i, headPa)
		change = max(change, math.Abs(d.flows[i]-d.previous[i])/d.previous[i])
	}
	return change
}

// gather works from the ends to the pump and returns the whole network's line.
func (d *divider) gather() (all line) {
	clear(d.after)
	for i := len(d.Legs) - 1; i >= 0; i-- {
		d.before[i] = d.straighten(i)
		if parent := d.Legs[i].Parent; parent != AtHeatPump {
			d.after[parent] = d.after[parent].plus(d.before[i])
		} else {
			all = all.plus(d.before[i])
		}
	}
	return all
}

func (l line) plus(other line) line {
	return line{l.conductanceLPHPerPa + other.conductanceLPHPerPa, l.offsetLPH + other.offsetLPH}
}

// straighten draws the loss of a leg straight about its flow, loss = lossPa +
// slope·(flow - flow now), and puts it before what hangs on the leg.
func (d *divider) straighten(i int) line {
	leg, below := &d.Legs[i], d.after[i]
	if limitLPH, ok := leg.limitLPH(); ok && d.held[i] {
		return line{0, limitLPH}
	}
	if !d.ends[i] && below.conductanceLPHPerPa == 0 {
		return below // all below is held, and so is this
	}
	lossPa, slope := d.straight(i)
	resistance, offsetPa := slope, lossPa-slope*d.flows[i]
	if !d.ends[i] {
		resistance += 1 / below.conductanceLPHPerPa
		offsetPa -= below.offsetLPH / below.conductanceLPHPerPa
	}
	return line{1 / resistance, -offsetPa / resistance}
}

func (d *divider) straight(i int) (lossPa, slopePaPerLPH float64) {
	leg := &d.Legs[i]
	return leg.LossAt(d.flows[i], d.Liquid).TotalPa(), leg.slopePaPerLPH(d.flows[i], d.Liquid)
}

// spread gives a leg its flow by the head before it, and leaves the head after
// it for those below.
func (d *divider) spread(i int, headPa float64) {
	lossPa, slope := d.straight(i)
	flow := max(d.before[i].conductanceLPHPerPa*headPa+d.before[i].offsetLPH, leastShare*d.flows[i])
	lossPa += slope * (flow - d.flows[i])
	d.flows[i] = flow
	d.headPa[i], d.throttle[i] = headPa-lossPa, 0
	if !d.held[i] {
		return
	}
	afterPa := 0.0
	if below := d.after[i]; below.conductanceLPHPerPa > 0 {
		afterPa = (flow - below.offsetLPH) / below.conductanceLPHPerPa
	}
	d.throttle[i], d.headPa[i] = d.headPa[i]-afterPa, afterPa
}

// leastShare keeps a round from turning a flow round: no flow falls to less
// than this share of what it was.
const leastShare = 0.05

// holdAndRelease says whether a setter was newly held or let go.
func (d *divider) holdAndRelease(onlyFirst bool) (changed bool) {
	for i := range d.Legs {
		limitLPH, ok := d.Legs[i].limitLPH()
		if !ok || changed && onlyFirst {
			continue
		}
		hold := d.shouldHold(i, limitLPH)
		changed = changed || hold != d.held[i]
		d.held[i] = hold
	}
	return changed
}

// shouldHold holds a flow that passes what it is set to, until its setter would
// have to push. Above setters that are all held it holds only when they let
// through more than it does; the head after it is then 0, and one of them goes.
func (d *divider) shouldHold(i int, limitLPH float64) bool {
	below := d.after[i]
	switch {
	case !d.held[i]:
		return d.flows[i] > limitLPH
	case !d.ends[i] && below.conductanceLPHPerPa == 0:
		return below.offsetLPH > limitLPH
	}
	return d.throttle[i] >= 0
}

// meetHalfway damps a search that goes to and fro, as it may where a flow is
// just at the bend between laminar and turbulent.
func (d *divider) meetHalfway() {
	for i := range d.flows {
		d.flows[i] = (d.flows[i] + d.previous[i]) / 2
	}
}

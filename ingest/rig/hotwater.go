package rig

import (
	"math/rand/v2"
	"time"
)

// coldWaterC comes from the main.
const coldWaterC = 10

// cylinder is one mixed volume of drinking water.
type cylinder struct {
	waterC     float64
	waterJPerK float64
	lossWPerK  float64
	draws      [maxDraws]draw // of this local day, by time
	count      int
	next       int
	leftJ      float64 // of the draw going on
	random     *rand.Rand
}

// draw is hot water taken at a tap.
type draw struct {
	atMS    int64
	amountJ float64
}

const (
	maxDraws = 24
	tapW     = 20e3 // some 8 l/min at 40 °C
)

func newCylinder(p *Plant) cylinder {
	return cylinder{
		waterC:     p.HotWater.TargetC - 1,
		waterJPerK: max(1, p.HotWater.CylinderL) * waterJPerKgK,
		lossWPerK:  p.HotWater.LossWPerK,
		random:     rand.New(rand.NewPCG(p.Seed, 0x74617073)),
	}
}

// drawShape is a household's day: hour, usual share of the day's draws.
var drawShape = [...]struct{ hourH, share, spreadH float64 }{
	{6.4, 0.12, 0.3}, {7.1, 0.16, 0.3}, {7.7, 0.08, 0.3}, {9, 0.03, 0.7}, {11.5, 0.04, 0.8},
	{12.9, 0.06, 0.4}, {14.5, 0.03, 0.9}, {17.5, 0.06, 0.7}, {18.6, 0.10, 0.5}, {19.8, 0.08, 0.5},
	{20.7, 0.14, 0.6}, {21.8, 0.10, 0.5},
}

// planDay draws the day's taps from the local midnight on. Days vary by a
// quarter or so either way.
func (c *cylinder) planDay(dayMS int64, dailyKWh float64) {
	c.count, c.next = 0, 0
	dayJ := dailyKWh * jPerKWh * max(0.3, 1+0.22*c.random.NormFloat64())
	for _, s := range drawShape {
		atH := s.hourH + s.spreadH*c.random.NormFloat64()
		amountJ := dayJ * s.share * (0.5 + c.random.Float64())
		d := draw{dayMS + int64(max(0.1, atH)*3.6e6), amountJ}
		i := c.count
		for ; i > 0 && c.draws[i-1].atMS > d.atMS; i-- {
			c.draws[i] = c.draws[i-1]
		}
		c.draws[i] = d
		c.count++
	}
}

// step draws, loses and takes heat from the coil.
func (c *cylinder) step(nowMS int64, stepS, heatW float64) (drawnW, lossW float64) {
	for c.next < c.count && c.draws[c.next].atMS <= nowMS {
		c.leftJ += c.draws[c.next].amountJ
		c.next++
	}
	if c.leftJ > 0 && c.waterC > coldWaterC+10 {
		drawnW = min(tapW, c.leftJ/stepS)
		c.leftJ -= drawnW * stepS
	}
	lossW = c.lossWPerK * (c.waterC - 19)
	c.waterC += stepS * (heatW - drawnW - lossW) / c.waterJPerK
	return drawnW, lossW
}

func (r *Rig) cylinderBelow(limitC float64) bool { return r.cylinderSeenC < limitC }

// machineLimitC is how warm the machine makes the cylinder now.
func (r *Rig) machineLimitC() float64 {
	limitC := r.plant.HotWater.TargetC
	if r.ctl.hygiene {
		limitC = min(r.plant.HotWater.HygieneC, max(limitC, r.plant.HeatPump.MaximumFlowC-6))
	}
	return min(limitC, r.eff.hotWaterLimitC)
}

// hotWaterLockout keeps a run that took too long from starting again at once.
const hotWaterLockout = time.Hour

// setHotWaterDemand latches between hysteresis and target, within the
// schedule, and looks after the weekly run.
func (r *Rig) setHotWaterDemand() {
	c, w := &r.ctl, &r.plant.HotWater
	if w.CylinderL == 0 || r.eff.dead {
		c.hotWater, c.immersion = false, false
		return
	}
	r.setHygiene()
	limitC := r.machineLimitC()
	switch {
	case c.hotWater:
		tooLong := r.nowMS-c.hotWaterSinceMS > w.MaximumLength.Milliseconds()
		if tooLong || !r.cylinderBelow(limitC) {
			c.hotWater = false
			c.holdUntilMS = r.nowMS + cylinderOverrun.Milliseconds()
		}
		if tooLong {
			c.hotWaterBlockedMS = r.nowMS + hotWaterLockout.Milliseconds()
		}
	case r.nowMS < c.hotWaterBlockedMS || r.machine.phase == defrosting:
	case r.cylinderBelow(limitC-w.HysteresisK) && r.scheduled() || c.hygiene && r.cylinderBelow(limitC-1):
		c.hotWater, c.hotWaterSinceMS = true, r.nowMS
	}
}

func (r *Rig) scheduled() bool {
	for _, span := range r.plant.HotWater.Schedule {
		if r.hourH >= span.FromH && r.hourH < span.ToH {
			return true
		}
	}
	return len(r.plant.HotWater.Schedule) == 0
}

// Hygiene: how long a run may try, and how long it counts as done.
const (
	hygieneTry  = 5 * time.Hour
	hygieneWait = 24 * time.Hour
)

// setHygiene starts the weekly run at its hour and ends it at its temperature.
func (r *Rig) setHygiene() {
	c, w := &r.ctl, &r.plant.HotWater
	if w.HygieneC == 0 || r.eff.noHygiene {
		c.hygiene, c.immersion = false, false
		return
	}
	due := r.weekday == w.HygieneDay && int(r.hourH) == w.HygieneHour
	if due && !c.hygiene && r.nowMS-c.hygieneDoneMS > hygieneWait.Milliseconds() {
		c.hygiene, c.hygieneDoneMS = true, r.nowMS
	}
	if c.hygiene && (r.cylinderSeenC >= w.HygieneC || r.nowMS-c.hygieneDoneMS > hygieneTry.Milliseconds()) {
		c.hygiene = false
	}
	c.immersion = c.hygiene && !c.hotWater && w.ImmersionKW > 0
}

// skipBefore drops draws from before the rig began.
func (c *cylinder) skipBefore(nowMS int64) {
	for c.next < c.count && c.draws[c.next].atMS < nowMS {
		c.next++
	}
}

package watch

import (
	"math"
	"time"

	"coldweek/analysis/siteday"
)

const (
	// A glance holds for nowIs, the flow for longer: it is told by heating only.
	nowIs, flowIs = time.Hour, 6 * time.Hour
)

// Glance is what a look shows of a plant at once. Nil is not known: never measured,
// or longer ago than an hour, for the flow than six.
type Glance struct {
	Newest                   time.Time // reading; zero when there is none
	OutdoorC, FlowC, ReturnC *float64  // in the last five minutes that are known
	RoomBelowSetK            *float64  // of the room that lacks most; negative where all are warmer
	FlowRateLPH              *float64  // of settled heating, the last
	FlowLimitLPH             *float64  // below which that asks for attention
}

// GlanceAt takes a glance.
func GlanceAt(c *Case) Glance {
	var g Glance
	for _, newest := range c.Newest {
		g.Newest = siteday.Later(g.Newest, newest)
	}
	for i := len(c.Slots) - 1; i >= 0 && c.Now.Sub(c.Slots[i].To()) < flowIs; i-- {
		g.see(c, i)
	}
	return g
}

// see takes from a slot what later ones did not tell.
func (g *Glance) see(c *Case, i int) {
	s := &c.Slots[i]
	if g.FlowRateLPH == nil {
		g.seeFlow(&c.Limits, s)
	}
	if c.Now.Sub(s.To()) >= nowIs {
		return
	}
	for _, of := range []struct {
		known **float64
		mean  siteday.Mean
	}{{&g.OutdoorC, s.Outdoor}, {&g.FlowC, s.Flow}, {&g.ReturnC, s.Return}} {
		if v, ok := of.mean.Of(); ok && *of.known == nil {
			*of.known = &v
		}
	}
	if g.RoomBelowSetK == nil {
		g.RoomBelowSetK = c.worstRoomK(i)
	}
}

func (g *Glance) seeFlow(l *Limits, s *Slot) {
	lph, ok := settledFlow(s)
	if !ok {
		return
	}
	g.FlowRateLPH = &lph
	if limitLPH := l.LeastFlowLPH(Attention, s.Settled.Took); limitLPH > 0 {
		g.FlowLimitLPH = &limitLPH
	}
}

// worstRoomK is by how much the room that lacks most is below its set temperature.
func (c *Case) worstRoomK(i int) *float64 {
	worstK := math.Inf(-1)
	for place := range c.Slots[i].Rooms {
		if c.Limits.roomSet(place) == nil {
			continue
		}
		if shortK, known := c.shortK(i, place); known {
			worstK = max(worstK, shortK)
		}
	}
	if math.IsInf(worstK, -1) {
		return nil
	}
	return &worstK
}

package watch

import (
	"fmt"
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// frostBelowC outdoors, standing water is watched. It freezes below 0 °C;
	// sensors in the sun and on walls read too warm (common practice, no source).
	// From noFrostC on the danger is over, though the plant may be down.
	frostBelowC, noFrostC = 2, 8
	// frostOpenS at 0 °C outdoors; colder weather counts more, see frostWeight. A
	// plant that heats, or protects itself, is not at rest so long.
	frostOpenS  = 4 * 3600
	frostCloseS = 20 * 60
	// coldWaterC in a pipe that does not flow leaves little time. Water from
	// warmWaterC on may be warm where it is measured and cold where it stands
	// outdoors, so it counts, but less.
	coldWaterC, coldWaterWeight = 6, 16.0
	warmWaterC, warmWaterWeight = 15, 1 / 3.0
	// leastRestS of a slot without heat and flow make it a slot at rest.
	leastRestS = 240
	// standingLPH: less is no flow that protects anything.
	standingLPH = 30
)

// frostDanger tells of a plant that neither heats nor moves its water in frost.
func frostDanger(c *Case) []Finding {
	pieces := make([]Piece, len(c.Slots))
	for i := range c.Slots {
		pieces[i] = c.frostPiece(&c.Slots[i])
	}
	var found []Finding
	for _, e := range (Hold{frostOpenS, frostCloseS}).Episodes(pieces) {
		found = append(found, frostFinding(c, e))
	}
	return found
}

// frostPiece says whether the water stood in frost. A plant at rest because house
// and water are warm is none that has failed.
func (c *Case) frostPiece(s *Slot) Piece {
	p := Piece{From: s.From, To: s.To()}
	moved := s.RunS() + s.SecondsS[operation.Circulating]
	outdoorC, known := s.Outdoor.Of()
	switch {
	case moved >= SlotLength.Seconds()-leastRestS:
		p.Sign, p.S = Clear, moved
	case known && outdoorC >= noFrostC:
		p.Sign, p.S = Clear, s.Outdoor.S
	case !known || outdoorC >= frostBelowC || !atRest(s) || coldestWater(s) >= warmWaterC && c.warmRooms(s):
	default:
		p.Sign, p.S = Bad, s.SecondsS[operation.Off]*frostWeight(s, outdoorC)
	}
	return p
}

// atRest says whether a slot is known to have had neither heat nor flow.
func atRest(s *Slot) bool {
	lph, known := s.FlowRate.Of()
	return known && lph < standingLPH && s.SecondsS[operation.Off] >= leastRestS
}

// frostWeight is how much faster water cools than at 0 °C outdoors.
func frostWeight(s *Slot, outdoorC float64) float64 {
	weight := 1 - outdoorC/4
	switch waterC := coldestWater(s); {
	case waterC < coldWaterC:
		return coldWaterWeight
	case waterC >= warmWaterC:
		return warmWaterWeight * weight
	}
	return weight
}

// coldestWater is the lower of flow and return temperature; NaN if neither is known.
func coldestWater(s *Slot) float64 {
	lowest := math.NaN()
	for _, water := range []siteday.Mean{s.Flow, s.Return} {
		if waterC, ok := water.Of(); ok && !(waterC > lowest) {
			lowest = waterC
		}
	}
	return lowest
}

// warmRooms says whether rooms are known and none is below what was promised.
func (c *Case) warmRooms(s *Slot) bool {
	warm := false
	for place, m := range s.Rooms {
		roomC, known := m.Of()
		setC := c.Limits.roomSet(place)
		switch {
		case !known || setC == nil:
		case roomC < *setC-roomBackK:
			return false
		default:
			warm = true
		}
	}
	return warm
}

func frostFinding(c *Case, e Episode) Finding {
	var water siteday.Mean
	lowestC := float64(frostBelowC)
	for i := e.First; i < e.Last; i++ {
		s := &c.Slots[i]
		if s.Flow.S > 0 {
			water = s.Flow
		}
		if outdoorC, ok := s.Outdoor.Of(); ok {
			lowestC = min(lowestC, outdoorC)
		}
	}
	lasted := c.Slots[e.Last-1].To().Sub(e.Since)
	f := Finding{
		Kind: "frost_danger", Severity: Urgent, Since: e.Since, Until: e.Until,
		Title:    fmt.Sprintf("No heat and no flow for %s, at down to %.0f °C outdoors: water may freeze", spell(lasted), lowestC),
		Evidence: []Figure{{"outdoor_lowest_c", lowestC, "°C", 1}, {"standing_h", lasted.Hours(), "h", 1}},
		Causes:   []string{"the machine is locked out by a fault", "it is switched off, by a thermostat, a timer or at its isolator", "its fuse or breaker has tripped", "the pump has failed"},
		Next: []string{
			"ask at the house what the controller shows, and whether it has power",
			"have the pump run, or the backup heater heat, until the fault is found",
			"where neither can be had soon, drain what stands outdoors",
		},
		Caution: "Ice bursts pipes and heat exchangers, and a burst exchanger can let refrigerant into the water. Do not thaw frozen parts with a flame or start the machine on ice. Electrical and refrigerant work is for licensed people, as local rules say.",
	}
	if waterC, ok := water.Of(); ok {
		f.Evidence = append(f.Evidence, Figure{"flow_temp_c", waterC, "°C", 1})
	}
	if c.Limits.Glycol {
		f.Severity = Attention
		f.Title = fmt.Sprintf("No heat and no flow for %s, at down to %.0f °C outdoors", spell(lasted), lowestC)
		f.Next = append(f.Next, "check that the glycol still protects to the lowest temperature expected: its strength falls where water was topped up")
	}
	return f
}

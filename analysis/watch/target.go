package watch

import (
	"fmt"
	"time"

	"coldweek/analysis/siteday"
)

const (
	// targetShortK below its target in settled heating the flow is short, within
	// targetBackK it is there: controllers start some kelvin below (common practice,
	// no source).
	targetShortK, targetBackK = 3, 1.5
	// targetOpenS of settled heating are longer than a cold floor takes to warm.
	targetOpenS, targetCloseS = 2 * 3600, 3600
	// betweenNights: a plant that falls short every night does so for one reason.
	betweenNights = 18 * time.Hour
	// risingK within half an hour the flow is on its way.
	risingK, risingSlots = 0.5, 6
)

// targetNotHeld tells of heating that stays below its flow target.
func targetNotHeld(c *Case) []Finding {
	pieces := make([]Piece, len(c.Slots))
	for i := range c.Slots {
		pieces[i] = c.targetPiece(i)
	}
	var found []Finding
	for _, e := range bridge(Hold{targetOpenS, targetCloseS}.Episodes(pieces), betweenNights, c.dataUntil()) {
		found = append(found, targetFinding(c, e))
	}
	return found
}

// belowTarget is by how much settled heating is below its target, false where
// that is not known.
func belowTarget(s *Slot) (shortK float64, known bool) {
	flowC, flow := s.Settled.Flow.Of()
	targetC, target := s.Settled.Target.Of()
	return targetC - flowC, flow && target && min(s.Settled.Flow.S, s.Settled.Target.S) >= leastSettledS
}

func (c *Case) targetPiece(i int) Piece {
	s := &c.Slots[i]
	p := Piece{From: s.From, To: s.To()}
	shortK, known := belowTarget(s)
	if !known {
		return p
	}
	p.S = s.Settled.S
	switch {
	case shortK < targetBackK:
		p.Sign = Clear
	case shortK >= targetShortK && !c.rising(i):
		p.Sign = Bad
	}
	return p
}

// rising says whether the flow of settled heating is getting warmer.
func (c *Case) rising(i int) bool {
	if i < risingSlots {
		return false
	}
	nowC, now := c.Slots[i].Settled.Flow.Of()
	thenC, then := c.Slots[i-risingSlots].Settled.Flow.Of()
	return now && then && nowC-thenC >= risingK
}

func targetFinding(c *Case, e Episode) Finding {
	var flow, target, outdoor, rate siteday.Mean
	var took siteday.Stretch
	for i := e.First; i < e.Last; i++ {
		if shortK, known := belowTarget(&c.Slots[i]); known && shortK >= targetBackK {
			s := &c.Slots[i].Settled
			flow, target, rate, took = flow.Plus(s.Flow), target.Plus(s.Target), rate.Plus(s.FlowRate), took.Plus(s.Took)
			outdoor = outdoor.Plus(c.Slots[i].Outdoor)
		}
	}
	flowC, _ := flow.Of()
	targetC, _ := target.Of()
	f := Finding{
		Kind: "target_not_held", Severity: Attention, Since: e.Since, Until: e.Until,
		Title:    fmt.Sprintf("Flow of %.1f °C stays %.1f K below its target", flowC, targetC-flowC),
		Evidence: []Figure{{"short_k", targetC - flowC, "K", 1}, {"flow_temp_c", flowC, "°C", 1}, {"flow_target_c", targetC, "°C", 1}},
		Causes: []string{
			"the machine gives less than it should: lost refrigerant, a fouled or iced coil, a failing fan or compressor",
			"the house takes more than the machine can give in this weather",
			"its output is limited: a quiet mode, a current limit, the grid operator",
			"a target set higher than the machine can reach",
		},
		Next: []string{
			"compare the heat output with the data sheet at this outdoor temperature",
			"look at the coil and the fan, and read the fault memory",
			"see whether a quiet mode or a limit is set",
			"see whether the backup heater is released for this weather",
		},
		Caution: "The refrigerant circuit is for certified people only, as local rules say.",
	}
	if outdoorC, ok := outdoor.Of(); ok {
		f.Evidence = append(f.Evidence, Figure{"outdoor_c", outdoorC, "°C", 1})
		if designC := c.Limits.DesignOutdoorC; designC != nil && outdoorC < *designC {
			f.Severity = Info
			f.Causes = []string{fmt.Sprintf("it is colder than the %.0f °C the plant was designed for", *designC), f.Causes[0]}
		}
	}
	if took.S > 0 {
		f.Evidence = append(f.Evidence, Figure{"heat_kw", took.HeatJ / took.S / 1000, "kW", 1})
	}
	if lph, ok := rate.Of(); ok {
		f.Evidence = append(f.Evidence, Figure{Name: "flow_rate_lph", Value: lph, Unit: "l/h"})
	}
	return f
}

package watch

import (
	"fmt"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// A day so warm, with next to no heating, has no use for a pump that circulates
	// for more than idleHours (common practice, no source).
	needlessC, idleHours = 12, 14
	// heatingHours of a day are next to none.
	heatingHours = 1.5
	pumpDays     = 2
)

// pumpIdle tells of a pump that runs through days on which nothing is heated.
func pumpIdle(c *Case) []Finding {
	whole := c.WholeDays()
	pieces := make([]Piece, len(whole))
	for i := range whole {
		pieces[i] = pumpPiece(&whole[i])
	}
	var found []Finding
	for _, e := range (Hold{pumpDays, pumpDays}).Episodes(pieces) {
		var p siteday.Pump
		for i := e.First; i < e.Last; i++ {
			p.IdleS += whole[i].Sums.Pump.IdleS
		}
		hours := p.IdleS / 3600 / float64(e.Last-e.First)
		found = append(found, Finding{
			Kind: "pump_idle", Severity: Info, Since: e.Since, Until: e.Until,
			Title:    fmt.Sprintf("The pump runs %.0f hours a day while next to nothing is heated", hours),
			Evidence: []Figure{{"idle_hours_a_day", hours, "h", 1}, {"days", float64(e.Last - e.First), "", 0}},
			Causes:   []string{"a heating season, or a heating limit, that is set too warm", "a pump set to run at all times", "a room thermostat that always calls"},
			Next:     []string{"read the heating limit and the pump's mode of operation in the controller", "see whether a thermostat calls for heat"},
		})
	}
	return found
}

func pumpPiece(d *siteday.Day) Piece {
	p := Piece{From: d.From, To: d.To}
	s := &d.Sums
	outdoorC, ok := s.Outdoor.Of()
	if !ok || s.KnownS() < 0.9*s.SpanS {
		return p
	}
	p.S = 1
	switch idle := time.Duration(s.Pump.IdleS * float64(time.Second)).Hours(); {
	case idle > idleHours && outdoorC > needlessC && s.SecondsS[operation.Heating] < heatingHours*3600:
		p.Sign = Bad
	default:
		p.Sign = Clear
	}
	return p
}

package watch

import (
	"fmt"
	"slices"
	"time"

	"coldweek/analysis/siteday"
)

const (
	// leastSettledS of a slot tell its flow.
	leastSettledS = 60
	// leastCOP: a flow so small that the heat it carries is no more than the
	// electricity is a wrong reading, not a small flow.
	leastCOP = 1.1
	// clearlyBelow the maker's minimum the machine is at risk of tripping.
	clearlyBelow = 0.9
	// Of the commissioned flow, at high output and below: pumps that follow the
	// output give up a third of it (common practice, no source).
	leastOfCommissioned, leastAtLowOutput = 0.7, 0.6
	highOutput                            = 0.5 // of the design heat loss
	leastOfDesign                         = 0.6
	// backAbove a limit by so much, the flow is back.
	backAbove = 1.03
	// flowCloseS of good flow end a finding.
	flowCloseS = 3600
)

// flowLevels are the severities of low flow with the running time they need.
var flowLevels = []struct {
	severity Severity
	openS    float64
}{{Urgent, 10 * 60}, {Attention, 20 * 60}, {Info, 60 * 60}}

// lowFlow holds the flow of settled heating against what the record asks for.
func lowFlow(c *Case) []Finding {
	var all []levelled
	for _, level := range flowLevels {
		pieces := make([]Piece, len(c.Slots))
		for i := range c.Slots {
			pieces[i] = flowPiece(&c.Limits, &c.Slots[i], level.severity)
		}
		for _, e := range (Hold{level.openS, flowCloseS}).Episodes(pieces) {
			all = append(all, levelled{e, level.severity})
		}
	}
	var found []Finding
	for _, e := range together(all) {
		found = append(found, lowFlowFinding(c, e))
	}
	return found
}

// flowPiece says whether a slot's flow is below the limit of a severity, or of a
// worse one.
func flowPiece(l *Limits, s *Slot, severity Severity) Piece {
	p := Piece{From: s.From, To: s.To()}
	lph, ok := settledFlow(s)
	if !ok {
		return p
	}
	p.S = s.Settled.FlowRate.S
	limitLPH := l.LeastFlowLPH(severity, s.Settled.Took)
	switch {
	case lph < limitLPH:
		p.Sign = Bad
	case lph > backAbove*limitLPH:
		p.Sign = Clear
	}
	return p
}

// settledFlow is the flow of settled heating in l/h, false where it is not known
// or cannot be.
func settledFlow(s *Slot) (float64, bool) {
	lph, ok := s.Settled.FlowRate.Of()
	took := s.Settled.Took
	plausible := took.S == 0 || took.HeatJ > leastCOP*took.ElectricityJ
	return lph, ok && s.Settled.FlowRate.S >= leastSettledS && plausible
}

// LeastFlowLPH is the flow below which a severity begins for what the plant gives;
// 0 where none is known.
func (l *Limits) LeastFlowLPH(severity Severity, took siteday.Stretch) float64 {
	limitLPH := 0.0
	if minimum := l.Plant.MinimumFlowLPH; minimum != nil {
		limitLPH = *minimum
		if severity == Urgent {
			return clearlyBelow * limitLPH
		}
	}
	if severity == Urgent {
		return 0
	}
	share := leastAtLowOutput
	if loss := l.Plant.DesignHeatLossW; loss != nil && took.HeatJ >= highOutput**loss*took.S {
		share = leastOfCommissioned
	}
	switch {
	case l.Plant.CommissionedLPH != nil:
		limitLPH = max(limitLPH, share**l.Plant.CommissionedLPH)
	case severity == Info && l.DesignFlowLPH != nil:
		limitLPH = max(limitLPH, leastOfDesign**l.DesignFlowLPH)
	}
	return limitLPH
}

func lowFlowFinding(c *Case, e levelled) Finding {
	var rate, difference siteday.Mean
	for i := e.First; i < e.Last; i++ {
		if _, ok := settledFlow(&c.Slots[i]); ok {
			s := &c.Slots[i].Settled
			rate, difference = rate.Plus(s.FlowRate), difference.Plus(s.Difference)
		}
	}
	lph, _ := rate.Of()
	f := Finding{
		Kind: "low_flow", Severity: e.severity, Since: e.Since, Until: e.Until,
		Evidence: []Figure{{Name: "flow_rate_lph", Value: lph, Unit: "l/h"}},
		Causes:   []string{"a strainer or filter that is blocked", "a valve or a circuit that is closed", "air in the pipework", "a pump that is set too low or fails"},
		Next: []string{
			"compare with the pump's own display or a second flow reading",
			"look at the strainer and the magnetic filter",
			"see that all circuits and their valves are open, and bleed them",
			"read the pump's setting and its fault memory",
		},
		Caution: flowCaution,
	}
	if k, ok := difference.Of(); ok {
		f.Evidence = append(f.Evidence, Figure{"difference_k", k, "K", 1})
	}
	f.Title = lowFlowTitle(&c.Limits, &f, lph)
	return f
}

// lowFlowTitle says what the flow is below, and adds it to the evidence.
func lowFlowTitle(l *Limits, f *Finding, lph float64) string {
	if minimum := l.Plant.MinimumFlowLPH; minimum != nil {
		f.Evidence = append(f.Evidence, Figure{Name: "minimum_flow_lph", Value: *minimum, Unit: "l/h"})
		if lph < *minimum {
			return fmt.Sprintf("Flow of %.0f l/h is below the %.0f l/h the maker asks for", lph, *minimum)
		}
	}
	if commissioned := l.Plant.CommissionedLPH; commissioned != nil {
		f.Evidence = append(f.Evidence, Figure{Name: "commissioned_flow_lph", Value: *commissioned, Unit: "l/h"})
		return fmt.Sprintf("Flow of %.0f l/h is %.0f %% of the %.0f l/h commissioned", lph, 100*lph / *commissioned, *commissioned)
	}
	if design := l.DesignFlowLPH; design != nil {
		f.Evidence = append(f.Evidence, Figure{Name: "design_flow_lph", Value: *design, Unit: "l/h"})
		return fmt.Sprintf("Flow of %.0f l/h is %.0f %% of the %.0f l/h designed", lph, 100*lph / *design, *design)
	}
	return fmt.Sprintf("Flow of %.0f l/h is low", lph)
}

// levelled is an episode with the severity that its condition has.
type levelled struct {
	Episode
	severity Severity
}

// together joins episodes that share time: the earliest beginning, the latest
// end, the worst severity.
func together(all []levelled) []levelled {
	var joined []levelled
	for _, e := range slices.SortedStableFunc(slices.Values(all), func(a, b levelled) int { return a.Since.Compare(b.Since) }) {
		k := len(joined) - 1
		if k < 0 || joined[k].Ended() && joined[k].Until.Before(e.Since) {
			joined = append(joined, e)
			continue
		}
		j := &joined[k]
		j.severity, j.Last = worse(j.severity, e.severity), max(j.Last, e.Last)
		j.Until = laterEnd(j.Until, e.Until)
	}
	return joined
}

// laterEnd of two, of which the zero time is none yet.
func laterEnd(a, b time.Time) time.Time {
	switch {
	case a.IsZero() || b.IsZero():
		return time.Time{}
	case a.After(b):
		return a
	}
	return b
}

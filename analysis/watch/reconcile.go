package watch

import (
	"slices"
	"time"
)

// refresh is how often the figures of a finding that goes on unchanged are
// brought up to date.
const refresh = time.Hour

// Reconcile holds what is stored of a site, all that had not ended when the
// case's days began, against what the rules found, and returns the stored and new
// findings that changed.
//
// A finding keeps its identity, kind and Since, when later readings move its
// beginning, or its beginning has left the window. Its severity only rises. One
// that the rules no longer see, or that another now explains, has ended; if they
// would have to see its beginning, it is withdrawn. Only here are the true beginnings
// of causes known that are older than what the rules look at, and causes that are
// over.
func Reconcile(stored, found []Finding, c *Case) []Finding {
	seen, rest := pair(stored, found)
	seen, rest = c.stillLow(seen, rest)
	causes := slices.Clone(rest)
	for _, p := range seen {
		causes = append(causes, p.Finding)
	}
	var changed []Finding
	for _, p := range seen {
		explained := slices.ContainsFunc(causes, func(cause Finding) bool { return explains(&cause, &p.Finding) })
		switch {
		case explained && p.stored != nil:
			rest = append(rest, *p.stored)
		case !explained && (p.stored == nil || p.differs(p.stored)):
			changed = append(changed, p.Finding)
		}
	}
	for _, s := range rest {
		if next, differs := s.unseen(c); differs {
			changed = append(changed, next)
		}
	}
	return changed
}

// paired is a finding as it now is, with what is stored of it.
type paired struct {
	Finding
	stored *Finding // nil of a new one
}

// pair gives findings the identity of the stored ones that they are, and returns the
// stored ones that are left, without the withdrawn.
func pair(stored, found []Finding) (seen []paired, rest []Finding) {
	taken := make([]bool, len(stored))
	for _, f := range found {
		p := paired{Finding: f}
		if k := match(stored, taken, &f); k >= 0 {
			taken[k] = true
			p = paired{stored[k].follow(f), &stored[k]}
		}
		seen = append(seen, p)
	}
	for k := range stored {
		if !taken[k] && !stored[k].Withdrawn() {
			rest = append(rest, stored[k])
		}
	}
	return seen, rest
}

// stillLow takes for seen what is stored of a flow that stepped and has not come back,
// whatever the rules make of it by now: how a plant's flow goes with its output, by
// which they judge, is learned anew with each day, and on a young plant's first days
// changes much. That is while they would have to see its beginning. It is as severe
// as the low flow it leads to.
func (c *Case) stillLow(seen []paired, rest []Finding) (more []paired, left []Finding) {
	for k := range rest {
		s := &rest[k]
		before, known := s.figure("flow_rate_before_lph")
		after, _ := s.figure("flow_rate_lph")
		nowLPH, flows := c.latestFlowLPH()
		if s.Ended() || !s.Since.After(c.SlotsFrom()) || !known || !flows || nowLPH > (before+after)/2 {
			left = append(left, *s)
			continue
		}
		p := paired{*s, s}
		for i := range seen {
			if seen[i].Name() == "low_flow" && explains(s, &seen[i].Finding) {
				p.Severity = worse(p.Severity, seen[i].Severity)
			}
		}
		more = append(more, p)
	}
	return append(more, seen...), left
}

// latestFlowLPH is the flow of the last hour or so of settled heating.
func (c *Case) latestFlowLPH() (lph float64, known bool) {
	totalS, litresS := 0.0, 0.0
	for i := len(c.Slots) - 1; i >= 0 && totalS < latestS; i-- {
		if lph, ok := settledFlow(&c.Slots[i]); ok {
			totalS += c.Slots[i].Settled.FlowRate.S
			litresS += lph * c.Slots[i].Settled.FlowRate.S
		}
	}
	return litresS / totalS, totalS > 0
}

// match finds the stored finding that one is: of the same kind and time, the one
// that began first; -1 if there is none.
func match(stored []Finding, taken []bool, f *Finding) int {
	best := -1
	for k := range stored {
		s := &stored[k]
		if taken[k] || s.Kind != f.Kind || !s.overlaps(f, rowOf(f.Name()).closing) {
			continue
		}
		// One that was withdrawn comes back only as what it was.
		if s.Withdrawn() && s.Since.Sub(f.Since).Abs() > SlotLength {
			continue
		}
		if best < 0 || s.Since.Before(stored[best].Since) {
			best = k
		}
	}
	return best
}

// follow is the stored finding as it now is.
func (f *Finding) follow(found Finding) Finding {
	found.Since = f.Since
	found.Severity = worse(f.Severity, found.Severity)
	return found
}

// differs says whether a finding must be stored anew.
func (f *Finding) differs(stored *Finding) bool {
	return f.Severity != stored.Severity || !f.Until.Equal(stored.Until) ||
		!f.Ended() && f.AsOf.Sub(stored.AsOf) >= refresh && !slices.Equal(f.Evidence, stored.Evidence)
}

// unseen ends a finding that the rules do not see.
func (f Finding) unseen(c *Case) (Finding, bool) {
	from := rowOf(f.Name()).from(c)
	switch {
	case f.Since.After(from.Add(beginning)):
		f.Until = f.Since // they would see it
	case f.Ended():
		return f, false
	default:
		f.Until = from
		if from.Before(f.Since) {
			f.Until = f.Since
		}
	}
	f.AsOf = c.Now
	return f, true
}

// beginning of the window is where a rule may not see enough of a finding.
const beginning = 6 * time.Hour

package watch

import (
	"slices"
	"strings"
	"time"
)

// Rule looks at a case and returns the episodes it sees.
type Rule func(c *Case) []Finding

// span is what a rule looks at: as far back as that it says what was and what
// was not.
type span int

const (
	overSlots span = iota
	overDays
)

// row is one kind of finding.
type row struct {
	name    string // of the findings, without place; a name ending in _ stands for all that begin so
	over    span
	closing time.Duration // findings of a kind that lie closer are one
	// explains are kinds that are not told while a finding of this one lasts, or
	// that began shortly before it.
	explains []string
	basis    string
	rule     Rule // nil where the rule of another row gives them
}

// table is every rule. The order is that in which causes explain each other.
func table() []row {
	return []row{
		{name: "pipes_swapped", over: overSlots, closing: day, explains: []string{"low_flow", "flow_", "defrost_", "short_cycling", "sensor_pair_offset"},
			basis: "a return warmer than the flow while the compressor heats", rule: pipesSwapped},
		{name: "low_flow", over: overSlots, closing: 6 * time.Hour,
			basis: "the maker's minimum and the commissioned flow of the record; 70 % is common practice", rule: lowFlow},
	}
}

const day = 24 * time.Hour

// rowOf is the row of a kind, which may be one whose rule has gone: it has the
// longer window and no rule.
func rowOf(name string) row {
	for _, r := range table() {
		if r.name == name || strings.HasSuffix(r.name, "_") && strings.HasPrefix(name, r.name) {
			return r
		}
	}
	return row{name: name, over: overDays}
}

// from is where a rule's view begins.
func (r row) from(c *Case) time.Time {
	if r.over == overSlots {
		return c.SlotsFrom()
	}
	return c.DaysFrom()
}

// Run asks every rule and leaves out what others explain. Findings come in the
// order they began.
func Run(c *Case) []Finding {
	var found []Finding
	for _, r := range table() {
		if r.rule == nil {
			continue
		}
		for _, f := range r.rule(c) {
			if f.Basis == "" {
				f.Basis = r.basis
			}
			f.AsOf = c.Now
			found = append(found, f)
		}
	}
	found = unexplained(found)
	slices.SortStableFunc(found, func(a, b Finding) int { return a.Since.Compare(b.Since) })
	return found
}

// before is how much earlier than its cause a finding may begin: rules need
// different times to see.
const before = 2 * time.Hour

// unexplained leaves out findings whose cause is among the others.
func unexplained(found []Finding) []Finding {
	return slices.DeleteFunc(slices.Clone(found), func(f Finding) bool {
		return slices.ContainsFunc(found, func(cause Finding) bool {
			return explains(rowOf(cause.Name()), f.Name()) && !f.Since.Before(cause.Since.Add(-before)) && !f.Since.After(cause.end())
		})
	})
}

func explains(r row, name string) bool {
	return slices.ContainsFunc(r.explains, func(kind string) bool {
		return kind == name || strings.HasSuffix(kind, "_") && strings.HasPrefix(name, kind)
	})
}

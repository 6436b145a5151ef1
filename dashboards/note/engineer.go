package note

import (
	"fmt"
	"slices"
	"strings"

	"coldweek/analysis/job"
	"coldweek/dashboards/note/words"
)

// engineer adds the numbers behind the note: every figure with where it is from,
// the findings with their evidence, methods, doubts.
func (c *composer) engineer() {
	heading := c.say("engineer_heading", nil)
	c.add(Part{ID: "engineer", Look: Small, Heading: heading, Blocks: []Block{{Table: c.limits()}, {Table: c.sources()}}})
	c.add(Part{ID: "engineer-findings", Look: Small, Heading: c.say("engineer_findings", nil), Blocks: c.findingRows()})
	var doubts []Block
	for _, doubt := range append(slices.Clone(c.This.Warnings), c.This.Assumed...) {
		doubts = append(doubts, paragraph(called(doubt)))
	}
	for _, against := range []struct {
		name string
		of   []string
	}{{c.Month.Before(1).String(), c.AgainstLast.Cautions}, {c.Month.Before(12).String(), c.Against.Cautions}} {
		for _, caution := range against.of {
			doubts = append(doubts, paragraph(called(against.name+": "+caution)))
		}
	}
	c.add(Part{ID: "engineer-doubts", Look: Small, Heading: c.say("engineer_doubts", nil), Blocks: doubts})
	c.add(Part{ID: "engineer-methods", Look: Small, Heading: c.say("engineer_methods", nil), Blocks: []Block{
		paragraph(c.say("engineer_method_paths", nil), c.say("engineer_method_days", nil), c.say("engineer_method_rooms", nil), c.say("engineer_method_cost", nil)),
	}})
	var missing []Block
	for _, text := range c.doc.ForEngineer {
		missing = append(missing, paragraph(text))
	}
	c.add(Part{ID: "engineer-missing", Look: Small, Heading: c.say("engineer_missing", nil), Blocks: missing})
}

// limits are the figures that say how far the others go.
func (c *composer) limits() *Table {
	t := &Table{Head: []words.Text{c.say("engineer_figure", nil), c.say("engineer_value", nil)}, Words: true}
	row := func(key string, value words.Text) { t.Rows = append(t.Rows, []words.Text{c.say(key, nil), value}) }
	row("engineer_coverage", c.l.Percent(100*c.This.Coverage, 1, scaled("this.coverage", 100)))
	if pct := c.This.Heat.UncertaintyPct; pct != nil {
		row("engineer_uncertainty", append(words.Plain("±"), c.l.Percent(*pct, 1, from("this.heat.uncertainty_pct"))...))
	}
	if e := c.This.Efficiency; e.Low != nil && e.High != nil {
		row("engineer_interval", c.say("range", words.Args{"low": c.l.Number(*e.Low, 2, from("this.efficiency.low")), "high": c.l.Number(*e.High, 2, from("this.efficiency.high"))}))
	}
	return t
}

// sources are the figures of the note, each once.
func (c *composer) sources() *Table {
	t := &Table{Head: []words.Text{c.say("engineer_path", nil), c.say("engineer_value", nil)}, Words: true}
	seen := map[string]bool{}
	c.doc.Texts(func(text words.Text) {
		for _, p := range text {
			if p.Figure == nil || len(p.Figure.Source.Paths) == 0 {
				continue
			}
			path := strings.Join(p.Figure.Source.Paths, " − ")
			if seen[path] || path == "noticed" {
				continue
			}
			seen[path] = true
			figure := *p.Figure
			t.Rows = append(t.Rows, []words.Text{words.Called(path), c.l.Number(figure.Value, figure.Decimals+1, figure.Source)})
		}
	})
	return t
}

// findingRows are all findings of the month, muted ones too.
func (c *composer) findingRows() []Block {
	if len(c.Findings) == 0 {
		return []Block{paragraph(c.say("engineer_no_findings", nil))}
	}
	var blocks []Block
	for _, n := range c.Findings {
		f := n.Finding
		zone := c.Record.Zone()
		lines := []words.Text{called(job.FindingID(f.Kind, f.Since) + ", " + string(f.Severity))}
		var evidence []string
		for _, figure := range f.Evidence {
			evidence = append(evidence, fmt.Sprintf("%s %.*f %s", figure.Name, figure.Decimals, figure.Value, figure.Unit))
		}
		lines = append(lines, called(strings.Join(evidence, "; ")), called(f.Basis))
		if n.Muted {
			lines = append(lines, c.say("engineer_muted", nil))
		}
		period := onDay(f.Since, zone)
		if f.Ended() {
			period = c.say("range", words.Args{"low": period, "high": onDay(f.Until, zone)})
		}
		blocks = append(blocks, Block{Item: &Item{Title: called(f.Title), Period: period, Lines: lines}})
	}
	return blocks
}

package note

import (
	"math"

	"coldweek/analysis/job"
	"coldweek/analysis/season"
	"coldweek/dashboards/note/words"
)

// sameWeatherK is how far months' mean temperatures may lie apart and be as cold.
const sameWeatherK = 0.3

// compared holds the month against the one before and that of a year ago.
func (c *composer) compared() {
	p := Part{ID: "compared", Heading: c.say("compared_heading", nil)}
	if told(c.This) && (told(c.Last) || told(c.Year)) {
		p.Blocks = append(p.Blocks, Block{Table: c.comparedTable()})
	}
	if told(c.This) {
		p.Blocks = append(p.Blocks, paragraph(c.againstYear()...), paragraph(c.againstLast()...))
	}
	c.add(p)
}

func (c *composer) comparedTable() *Table {
	t := &Table{Head: []words.Text{c.say("compared_month", nil), c.say("compared_heat", nil), c.say("compared_electricity", nil),
		c.say("compared_efficiency", nil), c.say("compared_outdoor", nil), c.say("compared_measured", nil)}}
	t.Rows = append(t.Rows, c.comparedRow(c.Month, c.This, "this.", c.Against.This.OutdoorC, "season.comparison.this.outdoor_c"))
	if told(c.Last) {
		t.Rows = append(t.Rows, c.comparedRow(c.Month.Before(1), c.Last, "last.", c.AgainstLast.Against.OutdoorC, "season_last.comparison.against.outdoor_c"))
	}
	if told(c.Year) {
		t.Rows = append(t.Rows, c.comparedRow(c.Month.Before(12), c.Year, "year.", c.Against.Against.OutdoorC, "season.comparison.against.outdoor_c"))
	}
	return t
}

func (c *composer) comparedRow(m Month, r *job.Result, root string, outdoorC *float64, outdoorPath string) []words.Text {
	cell := func(v *float64, decimals int, path string) words.Text {
		if v == nil {
			return words.Plain("–")
		}
		return c.l.Number(*v, decimals, from(path))
	}
	return []words.Text{
		c.l.Month(m.first()), cell(r.Heat.NetKWh, 0, root+"heat.net_kwh"), cell(r.Electricity.TotalKWh, 0, root+"electricity.total_kwh"),
		cell(r.Efficiency.Overall, c.spfDecimals(), root+"efficiency.overall"), cell(outdoorC, 1, outdoorPath),
		c.l.Percent(100*r.Coverage, 0, scaled(root+"coverage", 100)),
	}
}

// againstYear takes the weather out.
func (c *composer) againstYear() []words.Text {
	month := c.l.Month(c.Month.Before(12).first())
	if !told(c.Year) {
		return []words.Text{c.say("compared_no_year", words.Args{"month": month})}
	}
	texts := []words.Text{c.weather(&c.Against, month, "season.")}
	if c.Against.HeatChange == nil || c.Against.ExpectedKWh == nil {
		return append(texts, c.say("compared_too_little", words.Args{"month": month}))
	}
	args := words.Args{
		"expected": c.kWh(*c.Against.ExpectedKWh, "season.comparison.expected_kwh"), "space": c.kWh(c.Against.This.SpaceKWh, "season.comparison.this.space_kwh"),
		"percent": c.changed(c.Against.HeatChange, "season.comparison.heat_change.value"),
	}
	texts = append(texts, c.say("compared_year_"+direction(c.Against.HeatChange), args))
	if change := c.Against.ElectricityChange; change != nil {
		texts = append(texts, c.say("compared_plant_"+direction(change), words.Args{"percent": c.changed(change, "season.comparison.electricity_change.value")}))
	}
	return texts
}

func (c *composer) againstLast() []words.Text {
	month := c.l.Month(c.Month.Before(1).first())
	if !told(c.Last) {
		return []words.Text{c.say("compared_no_last", words.Args{"month": month})}
	}
	texts := []words.Text{c.weather(&c.AgainstLast, month, "season_last.")}
	if change := c.AgainstLast.HeatChange; change != nil {
		texts = append(texts, c.say("compared_last_"+direction(change), words.Args{"month": month, "percent": c.changed(change, "season_last.comparison.heat_change.value")}))
	}
	return texts
}

// weather says which month was colder, by the days that were measured.
func (c *composer) weather(against *season.Comparison, month words.Text, root string) words.Text {
	now, then := against.This.OutdoorC, against.Against.OutdoorC
	if now == nil || then == nil {
		return nil
	}
	differenceK := *now - *then
	source := words.Source{Op: words.Less, Paths: []string{root + "comparison.this.outdoor_c", root + "comparison.against.outdoor_c"}, Factor: 1, Magnitude: true}
	args := words.Args{"month": month, "difference": c.celsius(math.Abs(differenceK), source)}
	switch {
	case math.Abs(differenceK) < sameWeatherK:
		return c.say("compared_weather_same", args)
	case differenceK < 0:
		return c.say("compared_weather_colder", args)
	}
	return c.say("compared_weather_milder", args)
}

// changed writes a change without its sign, which the words say.
func (c *composer) changed(change *season.Interval, path string) words.Text {
	pct := 100 * math.Abs(change.Value)
	return c.l.Percent(pct, decimalsOf(pct, 1), words.Source{Op: words.Value, Paths: []string{path}, Factor: 100, Magnitude: true})
}

// direction of a change that is clear from its interval.
func direction(change *season.Interval) string {
	switch {
	case change.High < 0:
		return "less"
	case change.Low > 0:
		return "more"
	}
	return "same"
}

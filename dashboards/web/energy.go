package web

import (
	"fmt"
	"strings"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/season"
	"coldweek/dashboards/chart"
)

// energy fills the page of energy and efficiency.
func energyPage(body *sectionBody, o over) {
	r := o.answer.Result
	sum := part{ID: "sum", Name: "Sum", Figures: []figure{
		{"Heat delivered", energy(r.Heat.NetKWh), heatRemark(r)},
		{"Electricity", energy(r.Electricity.TotalKWh), electricityRemark(r)},
		{"SPF", measured(r.Efficiency.Overall, 2, ""), efficiencyRemark(r)},
		{"Measured", percent(&r.Coverage), "of the time, heat and electricity both"},
	}, Drawings: []drawing{both("split", "", func(id string, width float64) []byte { return splitOf(o, id, width).SVG() })}, Notes: sentences(r.Assumed)}
	body.Parts = append(body.Parts, sum)
	if e := r.Efficiencies; e != nil {
		body.Parts = append(body.Parts, efficiencyPart(e))
	}
	if (o.window.period()).days() <= longAnswer {
		body.Parts = append(body.Parts, daysPart(o))
	} else {
		body.Parts = append(body.Parts, monthsPart(o))
	}
	body.Parts = append(body.Parts, costPart(&r.Cost, r.Efficiency.Overall))
}

// splitOf draws what electricity was taken for.
func splitOf(o over, id string, width float64) chart.ElectricitySplit {
	e := o.answer.Electricity
	return chart.ElectricitySplit{
		ID: id, Title: nameOf(o.record) + ": where the electricity went", Size: chart.Size{Width: width},
		Parts: []chart.ElectricityPart{
			{Name: "Space heating", Role: chart.Heat, KWh: orNaN(e.SpaceKWh)}, {Name: "Hot water", Role: chart.Cylinder, KWh: orNaN(e.HotWaterKWh)},
			{Name: "Defrosts", Role: chart.Defrosting, KWh: orNaN(e.DefrostKWh)}, {Name: "Standby", Role: chart.Idle, KWh: orNaN(e.StandbyKWh)},
		},
	}
}

// daysPart sets the days side by side.
func daysPart(o over) part {
	days := o.answer.Days
	p := part{ID: "days", Name: "Days", Drawings: []drawing{both("energy-days", "", func(id string, width float64) []byte { return barsOf(o.record, days, id, width) })}}
	t := table{Caption: "Day by day", Heads: heads("Day", col("Heat", "kWh"), col("Hot water", "kWh"), col("Electricity", "kWh"), col("SPF", ""), col("Outdoors", "°C"), col("Starts", ""), col("Defrosts", ""), col("Measured", "%"))}
	for _, d := range dayLines(days, period{}, o.record.Zone()) {
		t.Rows = append(t.Rows, tableRow{Address: plantAddress(o.record.ID) + d.Query, Cells: []string{
			d.Name, d.Net.Value, d.HotWater.Value, d.Electricity.Value, d.Ratio.Value, d.Outdoors.Value, d.Starts.Value, d.Defrosts.Value, d.Coverage.Value,
		}})
	}
	p.Tables = []table{t}
	return p
}

// both draws for a screen and for a phone.
func both(id, name string, svg func(id string, width float64) []byte) drawing {
	return drawing{Name: name, Wide: inline(svg(id+"-wide", sectionPx)), Narrow: inline(svg(id+"-narrow", narrowPx))}
}

// efficiencyPart says what the SPF is made of.
func efficiencyPart(e *efficiency.Result) part {
	p := part{ID: "efficiency", Name: "Efficiency", Figures: []figure{
		{"Space heating", measured(e.Space, 2, ""), "with the defrosts it takes"},
		{"Hot water", measured(e.HotWater, 2, ""), "charging the cylinder"},
		carnotFigure(e.HeatingShare), laboratoryFigure(e.Laboratory),
	}}
	for _, b := range e.Boundaries {
		words := fmt.Sprintf("SPF %s: %s", b.Boundary, number(b.SPF, 2))
		if b.Boundary == e.Measured {
			words += ", what the electricity meter sees"
		}
		p.Words = append(p.Words, words)
	}
	rows := func(caption, first string, of []efficiency.Row, withFlow bool) {
		t := table{Caption: caption, Heads: heads(first, col("Running", "h"), col("Heat", "kWh"), col("SPF", ""), col("Share of Carnot", "%"))}
		if withFlow {
			t.Heads = append(t.Heads, col("Flow", "°C"))
		}
		for _, row := range of {
			cells := []string{band(row.FromC, row.ToC, "°C"), number(row.RunHours, 1), number(row.HeatKWh, 0), measured(row.SPF, 2, "").Value, percent(row.Share).Value}
			if withFlow {
				cells = append(cells, celsius(row.FlowC).Value)
			}
			t.Rows = append(t.Rows, tableRow{Cells: cells})
		}
		if len(t.Rows) > 0 {
			p.Tables = append(p.Tables, t)
		}
	}
	rows("Heating with its defrosts, by outdoor temperature", "Outdoors", e.ByOutdoor, true)
	rows("Heating and hot water, by flow temperature", "Flow", e.ByFlow, false)
	return p
}

func carnotFigure(s *efficiency.Share) figure {
	f := figure{Name: "Share of Carnot, heating", Figure: quantity{Value: unknown}}
	if s == nil {
		return f
	}
	f.Figure = percent(&s.Value)
	words := map[efficiency.Judgement]string{
		efficiency.Plausible: "as machines have it", efficiency.TooHigh: "too high to be true: suspect the meters",
		efficiency.TooLow: "low: a fault, constant cycling, or a meter that sees more than the plant",
	}
	f.Remark = words[s.Judgement]
	if s.WithHeater {
		f.Remark = remarks(f.Remark, "a heater's electricity is in it")
	}
	return f
}

func laboratoryFigure(c *efficiency.Comparison) figure {
	f := figure{Name: "Against the laboratory", Figure: quantity{Value: unknown}, Remark: "the record has no test points"}
	if c == nil {
		return f
	}
	f.Remark = "no heat within the test points"
	if ratio, ok := c.Ratio(); ok {
		f.Figure = percent(&ratio)
		f.Remark = fmt.Sprintf("COP %s for %s in the laboratory at the same temperatures, %s of the heat", number(c.FieldCOP, 2), number(c.LabCOP, 2), percent(&c.HeatShare))
	}
	return f
}

// costPart says what the electricity cost.
func costPart(c *season.Cost, spf *float64) part {
	p := part{ID: "cost", Name: "Cost"}
	if c.Money == nil {
		p.Lead = "Not known: the record names no price (tariff: price_per_kwh)."
		if len(c.Rates) > 0 {
			p.Lead = fmt.Sprintf("Not known: the record has no price for %s kWh outside its time_of_use spans.", number(c.UnpricedKWh, 1))
		}
		return p
	}
	p.Figures = []figure{{"Electricity", measured(c.Money, 2, c.Currency), with("%s a kWh", measured(c.PricePerKWh, 3, c.Currency))}}
	if c.CarbonKg != nil {
		p.Figures = append(p.Figures, figure{"Carbon", measured(c.CarbonKg, 0, "kg"), ""})
	}
	if f := c.Former; f != nil {
		name := strings.TrimSpace("Same heat from " + f.Fuel)
		p.Figures = append(p.Figures, figure{name, measured(f.Money, 2, c.Currency), remarks(with("%s", measured(&f.FuelKWh, 0, "kWh")), with("%s of carbon", measured(f.CarbonKg, 0, "kg")))})
	}
	if c.BreakEvenSPF != nil {
		p.Figures = append(p.Figures, figure{"As dear at an SPF of", measured(c.BreakEvenSPF, 2, ""), with("here %s", measured(spf, 2, ""))})
	}
	return p
}

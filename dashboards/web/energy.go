package web

import (
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/job"
	"coldweek/analysis/season"
)

// energy fills the page of energy and efficiency.
func energyPage(body *sectionBody, o over) {
	r := o.answer.Result
	sum := part{ID: "sum", Name: "Sum", Figures: []figure{
		{"Heat delivered", energy(r.Heat.NetKWh), heatRemark(r)},
		{"Electricity", energy(r.Electricity.TotalKWh), electricityRemark(r)},
		{"SPF", measured(r.Efficiency.Overall, 2, ""), efficiencyRemark(r)},
		{"Measured", percent(&r.Coverage), "of the time, heat and electricity both"},
	}, Notes: r.Assumed}
	body.Parts = append(body.Parts, sum)
	if (o.window.period()).days() <= longAnswer {
		body.Parts = append(body.Parts, daysPart(o))
	} else {
		body.Parts = append(body.Parts, monthsPart(o))
	}
	if e := r.Efficiencies; e != nil {
		body.Parts = append(body.Parts, efficiencyPart(e))
	}
	body.Parts = append(body.Parts, costPart(&r.Cost, r.Efficiency.Overall))
}

// daysPart sets the days side by side.
func daysPart(o over) part {
	days := o.answer.Days
	p := part{ID: "days", Name: "Days", Drawings: []drawing{both("energy-days", "", func(id string, width float64) []byte { return barsOf(o.record, days, id, width) })}}
	t := table{Caption: "Day by day", Heads: heads("Day", col("Heat", "kWh"), col("Hot water", "kWh"), col("Electricity", "kWh"), col("SPF", ""), col("Outdoors", "°C"), col("Starts", ""), col("Defrosts", ""), col("Measured", "%"))}
	for _, d := range dayLines(days, period{}, o.record.Zone()) {
		t.Rows = append(t.Rows, tableRow{plantAddress(o.record.ID) + d.Query, []string{
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

// month is a month of a window, as far as it lies in it.
type month struct {
	from, to                     time.Time
	heatKWh, hotWaterKWh         float64
	electricityKWh               float64
	matchedHeatKWh, matchedElKWh float64 // of days with both
	coverage                     float64
	days, known                  int
	starts, defrosts             int
	outdoorCSum                  float64
	outdoorDays                  int
}

// monthsOf sums days by calendar month.
func monthsOf(days []job.Day, zone *time.Location) []month {
	var months []month
	for _, d := range days {
		date := parseDate(d.Date, zone)
		if n := len(months); n == 0 || months[n-1].from.Month() != date.Month() || months[n-1].from.Year() != date.Year() {
			months = append(months, month{from: date})
		}
		months[len(months)-1].add(d, date)
	}
	return months
}

func (m *month) add(d job.Day, date time.Time) {
	m.to = daysOn(date, 1)
	m.days++
	m.coverage += d.Coverage
	if d.NetKWh != nil && d.ElectricityKWh != nil {
		m.known++
		m.matchedHeatKWh += *d.NetKWh
		m.matchedElKWh += *d.ElectricityKWh
	}
	for _, sum := range []struct {
		of *float64
		to *float64
	}{{d.NetKWh, &m.heatKWh}, {d.HotWaterKWh, &m.hotWaterKWh}, {d.ElectricityKWh, &m.electricityKWh}} {
		if sum.of != nil {
			*sum.to += *sum.of
		}
	}
	if d.Starts != nil {
		m.starts += *d.Starts
	}
	if d.Defrosts != nil {
		m.defrosts += *d.Defrosts
	}
	if d.OutdoorC != nil {
		m.outdoorCSum += *d.OutdoorC
		m.outdoorDays++
	}
}

func (m *month) spf() *float64 {
	if m.matchedElKWh <= 0 {
		return nil
	}
	return pointer(m.matchedHeatKWh / m.matchedElKWh)
}

func (m *month) knownOr(v float64) *float64 {
	if m.known == 0 {
		return nil
	}
	return &v
}

// monthsPart sets the months side by side.
func monthsPart(o over) part {
	t := table{Caption: "Month by month", Heads: heads("Month", col("Days", ""), col("Heat", "kWh"), col("Hot water", "kWh"), col("Electricity", "kWh"), col("SPF", ""), col("Outdoors", "°C"), col("Starts", "a day"), col("Defrosts", ""), col("Measured", "%"))}
	for _, m := range monthsOf(o.answer.Days, o.record.Zone()) {
		var outdoorC *float64
		if m.outdoorDays > 0 {
			outdoorC = pointer(m.outdoorCSum / float64(m.outdoorDays))
		}
		t.Rows = append(t.Rows, tableRow{plantAddress(o.record.ID) + "/energy" + datesQuery(period{m.from, m.to}), []string{
			m.from.Format("January 2006"), number(float64(m.days), 0), measured(m.knownOr(m.heatKWh), 0, "").Value, measured(m.knownOr(m.hotWaterKWh), 0, "").Value,
			measured(m.knownOr(m.electricityKWh), 0, "").Value, measured(m.spf(), 2, "").Value, celsius(outdoorC).Value,
			measured(m.knownOr(float64(m.starts)/float64(m.days)), 1, "").Value, number(float64(m.defrosts), 0), percent(pointer(m.coverage / float64(m.days))).Value,
		}})
	}
	return part{ID: "months", Name: "Months", Tables: []table{t}, Notes: []string{"SPF of a month is heat by electricity of its days with both, with standby and defrosts."}}
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
			cells := []string{number(row.FromC, 0) + " to " + number(row.ToC, 0) + nbsp + "°C", number(row.RunHours, 1), number(row.HeatKWh, 0), measured(row.SPF, 2, "").Value, percent(row.Share).Value}
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

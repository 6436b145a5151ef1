package web

import (
	"fmt"
	"slices"

	"coldweek/analysis/job"
	"coldweek/analysis/robust"
	"coldweek/ingest/site"
)

// mostChargings bounds the table; the newest are shown.
const mostChargings = 60

// hotWaterPage fills the page of hot water.
func hotWaterPage(body *sectionBody, o over) {
	r := o.answer.Result
	p := part{ID: "hot-water", Name: "Hot water", Figures: hotWaterFigures(r)}
	if hw := o.record.HotWater; hw != nil {
		p.Words = append(p.Words, hotWaterRecord(hw)...)
	}
	if len(r.HotWater.Runs) == 0 {
		p.Lead = "No charging of a cylinder was seen in these days."
	} else {
		p.Tables = []table{chargings(o)}
	}
	p.Caution = "Stored hot water must be kept safe from legionella and from scalding; temperatures and hygiene runs are set by local rules and licensed practice, not by these figures."
	body.Parts = append(body.Parts, p)
}

func hotWaterFigures(r *job.Result) []figure {
	runs := r.HotWater.Runs
	var minutesLong, peaksC []float64
	for i := range runs {
		minutesLong = append(minutesLong, runs[i].To.Sub(runs[i].From).Minutes())
		peaksC = append(peaksC, runs[i].PeakFlowC)
	}
	perDay := float64(len(runs)) / float64(max(1, len(r.Days)))
	return []figure{
		{"Chargings", whole(int64(len(runs))), with("%s a day", measured(&perDay, 1, ""))},
		{"Heat", energy(r.Heat.HotWaterKWh), with("from %s of electricity", energy(r.Electricity.HotWaterKWh))},
		{"SPF of hot water", measured(r.Efficiency.HotWater, 2, ""), "without standby"},
		{"Usual charging", quantity{Value: minutes(middle(minutesLong))}, with("flow up to %s", celsius(middle(peaksC)))},
	}
}

func middle(values []float64) *float64 {
	m, ok := robust.Median(values)
	if !ok {
		return nil
	}
	return &m
}

func hotWaterRecord(hw *site.HotWater) []string {
	var words []string
	set := remarks(with("cylinder %s", measured(hw.CylinderL, 0, "l")), with("target %s", celsius(hw.TargetTempC)))
	if set != "" {
		words = append(words, sentence("By the record: "+set))
	}
	if hw.HygieneTempC != nil {
		every := ""
		if hw.HygieneInterval != nil {
			every = fmt.Sprintf("every %s days", number(*hw.HygieneInterval, 0))
		}
		words = append(words, sentence(remarks("Hygiene run to "+celsius(hw.HygieneTempC).String(), every)))
	}
	for _, span := range hw.Schedule {
		words = append(words, "May be charged from "+span.From+" to "+span.To+".")
	}
	return words
}

func chargings(o over) table {
	t := table{Caption: "Chargings, the newest first", Heads: heads("When", col("Lasted", ""), col("Heat", "kWh"), col("Electricity", "kWh"), col("Ratio", ""), col("Flow up to", "°C"))}
	runs := slices.Clone(o.answer.HotWater.Runs)
	slices.Reverse(runs)
	if len(runs) > mostChargings {
		t.More = fmt.Sprintf("The newest %d of %d.", mostChargings, len(runs))
		runs = runs[:mostChargings]
	}
	for i := range runs {
		run := &runs[i]
		from := run.From.In(o.record.Zone())
		t.Rows = append(t.Rows, tableRow{Address: wholeDay(from).address(o.record.ID), Cells: []string{
			from.Format("Mon 2 Jan, 15:04"), length(run.To.Sub(run.From)), number(run.HeatKWh, 2), number(run.ElectricityKWh, 2),
			quotient(&run.HeatKWh, &run.ElectricityKWh).Value, celsius(&run.PeakFlowC).Value,
		}})
	}
	return t
}

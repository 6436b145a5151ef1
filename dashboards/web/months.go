package web

import (
	"sync"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/siteday"
	"coldweek/analysis/trace"
	"coldweek/dashboards/chart"
	"coldweek/ingest/site"
)

// monthly is what is found for a calendar month, as far as it lies in a window.
type monthly struct {
	from, to   time.Time
	coverage   float64
	heat       job.Heat
	el         job.Electricity
	efficiency job.Efficiency
	starts     *int
	defrosts   *int
	outdoorC   *float64
	days       int
}

// monthsOf answers for each month of some days.
func monthsOf(record *site.Record, days []siteday.Day) []monthly {
	var of [][]siteday.Day
	for first := 0; first < len(days); {
		last := first + 1
		for last < len(days) && days[last].Date[:7] == days[first].Date[:7] {
			last++
		}
		of = append(of, days[first:last])
		first = last
	}
	months := make([]monthly, len(of))
	var counting sync.WaitGroup
	for i := range of {
		counting.Go(func() { months[i] = monthOf(record, of[i]) })
	}
	counting.Wait()
	return months
}

func monthOf(record *site.Record, days []siteday.Day) monthly {
	from, to := days[0].From.In(record.Zone()), days[len(days)-1].To.In(record.Zone())
	r := job.Count(record, job.Window{From: from, To: to}, days, trace.NoHeat)
	return monthly{
		from: from, to: to, coverage: r.Coverage, heat: r.Heat, el: r.Electricity, efficiency: r.Efficiency,
		starts: r.Cycling.Starts, defrosts: r.Defrost.Count, days: len(days),
		outdoorC: meanOfDays(r.Days, func(d job.Day) *float64 { return d.OutdoorC }),
	}
}

// monthsPart sets the months side by side.
func monthsPart(o over) part {
	t := table{Caption: "Month by month", Open: true, Heads: heads("Month", col("Days", ""), col("Heat", "kWh"), col("Hot water", "kWh"), col("Electricity", "kWh"), col("SPF", ""), col("95\u00a0%", ""), col("Outdoors", "°C"), col("Starts", "a day"), col("Defrosts", ""), col("Measured", "%"))}
	for i := range o.answer.months {
		m := &o.answer.months[i]
		between := unknown
		if m.efficiency.Low != nil && m.efficiency.High != nil {
			between = number(*m.efficiency.Low, 2) + " to " + number(*m.efficiency.High, 2)
		}
		perDay := quantity{Value: unknown}
		if m.starts != nil {
			perDay = measured(new(float64(*m.starts)/float64(m.days)), 1, "")
		}
		t.Rows = append(t.Rows, tableRow{Address: plantAddress(o.record.ID) + "/energy" + datesQuery(period{m.from, m.to}), Cells: []string{
			m.from.Format("January 2006"), number(float64(m.days), 0), measured(m.heat.NetKWh, 0, "").Value, measured(m.heat.HotWaterKWh, 0, "").Value,
			measured(m.el.TotalKWh, 0, "").Value, measured(m.efficiency.Overall, 2, "").Value, between, celsius(m.outdoorC).Value,
			perDay.Value, counted(m.defrosts).Value, percent(&m.coverage).Value,
		}})
	}
	return part{ID: "months", Name: "Months", Tables: []table{t}, Drawings: []drawing{
		both("months", "SPF of each month", func(id string, width float64) []byte { return monthsChart(o, id, width).SVG() }),
	}}
}

func monthsChart(o over, id string, width float64) chart.MonthlySPF {
	c := chart.MonthlySPF{ID: id, Title: nameOf(o.record) + ": SPF of each month", Size: chart.Size{Width: width, Height: 300}}
	if b := o.answer.Efficiency.Boundary; b != nil {
		c.Boundary = *b
	}
	for i := range o.answer.months {
		m := &o.answer.months[i]
		e := m.efficiency
		c.Months = append(c.Months, chart.SPFMonth{
			Month: m.from, Overall: orNaN(e.Overall), Low: orNaN(e.Low), High: orNaN(e.High), Space: orNaN(e.Space), HotWater: orNaN(e.HotWater), Coverage: m.coverage,
		})
	}
	return c
}

package web

import (
	"fmt"
	"math"
	"strings"

	"coldweek/analysis/flowrate"
	"coldweek/analysis/job"
	"coldweek/analysis/pipework"
	"coldweek/dashboards/chart"
	"coldweek/ingest/site"
)

// hydraulicsPage fills the page of flow, circuits and pipework.
func hydraulicsPage(body *sectionBody, o over) {
	r := o.answer.Result
	body.Parts = append(body.Parts, flowPart(o))
	if c := r.Emitters.Circuits; c != nil {
		body.Parts = append(body.Parts, circuitsPart(c))
	}
	body.Parts = append(body.Parts, pipeworkPart(o.record))
}

func flowPart(o over) part {
	r := o.answer.Result
	f := r.FlowRate
	p := part{ID: "flow", Name: "Flow", Figures: []figure{
		{"Flow while heating", litresPerHour(r.Flow.MedianLPH), with("nine tenths of the time above %s", litresPerHour(r.Flow.P10LPH))},
		{"Flow minus return", measured(r.Flow.MedianDifferenceK, 1, "K"), "median"},
		{"Now, at high output", litresPerHour(f.LatestLPH), flowAgainst(r)},
		trendFigure(f.Trend),
	}}
	if s := f.Step; s != nil {
		zone := o.record.Zone()
		p.Lead = fmt.Sprintf("The flow stepped from %s to %s between %s and %s (%s).", litresPerHour(&s.BeforeLPH), litresPerHour(&s.AfterLPH),
			s.From.In(zone).Format("2 Jan, 15:04"), s.To.In(zone).Format("2 Jan, 15:04"), spread(&s.ChangePct, 1, 0, "%"))
	}
	if pump := f.Pump; pump != nil {
		words := fmt.Sprintf("The pump runs %s a day with the compressor off, beyond overrun (%s) and frost protection (%s)",
			measured(&pump.IdleHours, 1, "h"), measured(&pump.OverrunHours, 1, "h"), measured(&pump.FrostHours, 1, "h"))
		p.Words = append(p.Words, sentence(remarks(words, with("%s a day", measured(pump.IdleKWh, 2, "kWh")))))
	}
	if len(f.Days) > 0 {
		p.Drawings = []drawing{both("flow-days", "Flow of each day", func(id string, width float64) []byte { return flowChart(o, id, width).SVG() })}
		p.Tables = []table{flowTable(o.record, f)}
	}
	p.Notes = []string{"Flow is that of settled heating. So that a pump that follows the output can be compared, a day's flow is as it would have been at high output."}
	return p
}

func flowChart(o over, id string, width float64) chart.FlowDays {
	r := o.answer.Result
	c := chart.FlowDays{ID: id, Title: nameOf(o.record) + ": flow of each day", Size: chart.Size{Width: width, Height: 300}}
	for _, d := range r.FlowRate.Days {
		day := chart.FlowDay{Date: parseDate(d.Date, o.record.Zone()), MedianLPH: d.MedianLPH, P10LPH: math.NaN(), P90LPH: math.NaN()}
		if spread, known := o.answer.flows[d.Date]; known {
			day.P10LPH, day.P90LPH = spread.p10LPH, spread.p90LPH
		}
		c.Days = append(c.Days, day)
	}
	for _, l := range []struct {
		name string
		lph  *float64
	}{{"Commissioned", r.Flow.CommissionedLPH}, {"Design", r.Flow.DesignLPH}, {"Minimum", r.Flow.MinimumLPH}} {
		if l.lph != nil {
			c.Limits = append(c.Limits, chart.FlowLimit{Name: l.name, LPH: *l.lph})
		}
	}
	if s := r.FlowRate.Step; s != nil {
		c.Findings = append(c.Findings, chart.FlowFinding{Date: parseDate(s.First, o.record.Zone()), Text: fmt.Sprintf("Flow stepped by %s%s%%", number(s.ChangePct.Value, 0), nbsp)})
	}
	return c
}

func pipeChart(record *site.Record, d *pipework.Result, id string, width float64) chart.PipeTree {
	c := chart.PipeTree{ID: id, Title: nameOf(record) + ": pipework", IndexLossKPa: &d.IndexLossKPa, Size: chart.Size{Width: width}}
	places := map[string]int{}
	limitMPerS := 1.0 // the limit of remarks where the record gives none
	if record.Limits != nil && record.Limits.PipeVelocityMPerS != nil {
		limitMPerS = *record.Limits.PipeVelocityMPerS
	}
	for i := range d.Legs {
		l := &d.Legs[i]
		parent := -1
		if l.Parent != nil {
			parent = places[*l.Parent]
		}
		places[l.Name] = i
		c.Legs = append(c.Legs, chart.PipeLeg{
			Name: l.Name, Parent: parent, Size: l.Size, LengthM: l.LengthM, VelocityMS: l.VelocityMPerS, LossPaPerM: l.LossPaPerM,
			OnIndex: l.OnIndex, TooFast: l.VelocityMPerS > limitMPerS,
		})
	}
	return c
}

// flowAgainst holds the flow against what it should be.
func flowAgainst(r *job.Result) string {
	var parts []string
	for _, should := range []struct {
		name string
		lph  *float64
	}{{"commissioned", r.Flow.CommissionedLPH}, {"design", r.Flow.DesignLPH}, {"minimum", r.Flow.MinimumLPH}} {
		if should.lph == nil || *should.lph <= 0 {
			continue
		}
		if r.FlowRate.LatestLPH == nil {
			parts = append(parts, fmt.Sprintf("%s %s", should.name, litresPerHour(should.lph)))
			continue
		}
		parts = append(parts, fmt.Sprintf("%s of %s %s", percent(new(*r.FlowRate.LatestLPH / *should.lph)), should.name, litresPerHour(should.lph)))
	}
	if len(parts) == 0 {
		return "the record names no flow to hold it against"
	}
	return strings.Join(parts, ", ")
}

func trendFigure(t *flowrate.Trend) figure {
	if t == nil {
		return figure{"Trend", quantity{Value: unknown}, "too few days to tell"}
	}
	f := estimated("Trend", &t.PctPerWeek, 1, 1, "% a week", fmt.Sprintf("%d days", t.Days))
	if !t.Seen() {
		f.Remark = remarks(f.Remark, "none to be seen")
	}
	return f
}

// mostFlowDays bounds the table; the newest are shown.
const mostFlowDays = 62

func flowTable(record *site.Record, f *flowrate.Result) table {
	t := table{Caption: "Flow of each day", Heads: heads("Day", col("Settled heating", "h"), col("Median", "l/h"), col("At high output", "l/h"), col("Outdoors", "°C"))}
	days := f.Days
	if n := len(days); n > mostFlowDays {
		days = days[n-mostFlowDays:]
		t.More = fmt.Sprintf("The newest %d of %d days.", mostFlowDays, n)
	}
	for i := range days {
		d := &days[i]
		from := parseDate(d.Date, record.Zone())
		t.Rows = append(t.Rows, tableRow{Address: wholeDay(from).address(record.ID), Cells: []string{
			from.Format("Mon 2 Jan"), number(d.HeatingS/3600, 1), number(d.MedianLPH, 0), measured(new(f.ComparableLPH(*d)), 0, "").Value, celsius(d.OutdoorC).Value,
		}})
	}
	return t
}

func circuitsPart(c *job.Circuits) part {
	p := part{ID: "circuits", Name: "Circuits"}
	if c.Why != "" {
		p.Lead = sentence("How the flow divides is not known: " + c.Why)
		return p
	}
	t := table{Caption: "How flow and heat divide", Heads: heads("Circuit", col("Flow", "%"), col("As commissioned", "%"), col("Heat", "%"))}
	at := func(shares []float64, i int) string {
		if i >= len(shares) {
			return unknown
		}
		return percent(&shares[i]).Value
	}
	for i, name := range c.Names {
		share := &c.Division.FlowShare[i]
		t.Rows = append(t.Rows, tableRow{Cells: []string{upperFirst(kindInWords(name)), spread(share, 0.01, 0, ""), at(c.SetShare, i), at(c.HeatShare, i)}})
	}
	p.Tables = []table{t}
	from := "From the plant's own sensors, by how the returns mix."
	if c.FromVisits {
		from = "From spot readings of visits, by how the returns mix."
	}
	p.Notes = []string{from}
	return p
}

// pipeVerdicts say whether the pipework runs without separation.
var pipeVerdicts = map[pipework.Verdict]string{pipework.Runs: "Runs without separation", pipework.DoesNot: "Does not run without separation"}

func pipeworkPart(record *site.Record) part {
	p := part{ID: "pipework", Name: "Pipework", Link: &link{plantAddress(record.ID) + "/record", "What the record says"}}
	system, err := pipework.Of(record)
	if err != nil {
		p.Lead = sentence("Not known: " + err.Error())
		return p
	}
	d := system.Design()
	verdict, known := pipeVerdicts[d.Verdict]
	if !known {
		verdict = "Cannot be told"
	}
	p.Lead = sentence(verdict + ": " + d.Why)
	p.Figures = []figure{
		{"Flow for the load", litresPerHour(&d.FlowLPH), with("%s", measured(&d.LoadKW, 1, "kW"))},
		{"Index circuit takes", measured(&d.IndexLossKPa, 1, "kPa"), strings.Join(d.IndexLegs, ", ")},
		{"Head left", measured(d.HeadKPa, 1, "kPa"), d.PumpSetting},
		{"To spare", measured(d.SpareKPa, 1, "kPa"), ""},
	}
	p.Drawings = []drawing{both("pipes", "Legs from the heat pump outwards", func(id string, width float64) []byte { return pipeChart(record, d, id, width).SVG() })}
	t := table{Caption: "Legs at the needed flow", Heads: heads("Leg", col("Flow", "l/h"), col("Velocity", "m/s"), col("Friction", "Pa/m"), col("Loss", "kPa"), col("To be balanced", "kPa"))}
	for i := range d.Legs {
		l := &d.Legs[i]
		name := strings.Repeat("\u2003", l.Depth) + l.Name
		if l.OnIndex {
			name += " (index)"
		}
		t.Rows = append(t.Rows, tableRow{Cells: []string{name, number(l.FlowLPH, 0), number(l.VelocityMPerS, 2), number(l.LossPaPerM, 0), number(l.LossKPa, 1), measured(l.BalanceKPa, 1, "").Value}})
	}
	p.Tables = []table{t}
	p.Words = append(p.Words, sentences(d.Remarks)...)
	p.Caution = strings.Join(sentences(d.Cautions), " ")
	p.Notes = sentences(d.Assumed)
	return p
}

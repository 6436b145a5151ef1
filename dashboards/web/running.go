package web

import (
	"fmt"
	"strings"
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/defrost"
	"coldweek/dashboards/chart"
)

const joulePerKWh = 3.6e6

// runningPage fills the page of runs, starts and defrosts.
func runningPage(body *sectionBody, o over) {
	body.Parts = append(body.Parts, runsPart(o), defrostPart(o))
}

// runVerdicts are the verdicts in words.
var runVerdicts = map[cycling.Verdict]string{
	cycling.NotKnown: "Not known", cycling.Calm: "No trouble", cycling.Frequent: "Many starts",
	cycling.Short: "Short cycling", cycling.VeryShort: "Very short cycling",
}

func runsPart(o over) part {
	r := o.answer.Result
	c := &r.Running
	p := part{ID: "runs", Name: "Runs", Lead: sentence(runVerdicts[c.Verdict] + ": " + c.Why), Figures: []figure{
		{"Starts", counted(r.Cycling.Starts), with("in %s of running", hoursFigure(c.RunS))},
		{"An hour of running", measured(c.StartsPerRunHour, 2, "starts"), ""},
		{"Usual heating run", lengthOf(c.Heating.Median, c.Heating.Count), eightInTen(c.Heating)},
		{"Usual pause", lengthOf(c.Pauses.Median, c.Pauses.Count), eightInTen(c.Pauses)},
	}}
	if c.Busiest != nil {
		p.Words = append(p.Words, fmt.Sprintf("Most starts in an hour: %d, from %s.", c.Busiest.Starts, c.Busiest.From.In(r.From.Location()).Format("2 Jan, 15:04")))
	}
	p.Words = append(p.Words, causesInWords(c)...)
	if c.Runs.Count > 0 {
		p.Drawings = []drawing{both("run-lengths", "How long runs last", func(id string, width float64) []byte { return lengthsChart(o, id, width).SVG() })}
	}
	if t := lengthsTable(c.Heating, c.Pauses); len(t.Rows) > 0 {
		p.Tables = append(p.Tables, t)
	}
	if t := runBandsTable(c); len(t.Rows) > 0 {
		p.Tables = append(p.Tables, t)
	}
	p.Notes = []string{fmt.Sprintf("Runs shorter than %s are short here: %d.", length(c.ShortRun), c.Short)}
	return p
}

func lengthsChart(o over, id string, width float64) chart.RunLengths {
	shortMinutes := o.answer.Running.ShortRun.Minutes()
	var minutesLong []float64
	for _, run := range o.answer.Cycling.Runs {
		minutesLong = append(minutesLong, run.To.Sub(run.From).Minutes())
	}
	return chart.RunLengths{
		ID: id, Title: nameOf(o.record) + ": how long runs last", ShortMinutes: shortMinutes,
		Classes: chart.ClassRuns(minutesLong, shortMinutes), Size: chart.Size{Width: width, Height: 260},
	}
}

func defrostChart(o over, id string, width float64) chart.DefrostsByOutdoor {
	c := chart.DefrostsByOutdoor{ID: id, Title: nameOf(o.record) + ": defrosts by outdoor temperature", Size: chart.Size{Width: width, Height: 320}}
	for _, b := range o.answer.Defrosting.ByOutdoor {
		c.Bins = append(c.Bins, chart.DefrostBin{FromC: b.From, ToC: b.To, RunHours: b.RunS / 3600, DefrostHours: b.Length.Hours(), Defrosts: b.Count})
	}
	return c
}

func lengthOf(d time.Duration, count int) quantity {
	if count == 0 {
		return quantity{Value: unknown}
	}
	return quantity{Value: length(d)}
}

func eightInTen(l cycling.Lengths) string {
	if l.Count == 0 {
		return ""
	}
	return fmt.Sprintf("eight in ten from %s to %s, %d of them", length(l.P10), length(l.P90), l.Count)
}

// causesInWords says why runs are short, the likeliest first.
func causesInWords(c *cycling.Report) []string {
	var words []string
	for _, cause := range c.Causes {
		switch {
		case cause.Finding == cycling.Likely && cause.Share >= 0.05:
			var figures []string
			for _, f := range cause.Evidence {
				figures = append(figures, fmt.Sprintf("%s %s %s", f.Name, number(f.Value, f.Decimals), f.Unit))
			}
			words = append(words, sentence(fmt.Sprintf("%s (%s of the runs): %s", cause.Title, percent(&cause.Share), strings.Join(figures, ", "))))
		case cause.Finding == cycling.Unknown:
			words = append(words, sentence(cause.Title+": not known; it would take "+cause.Missing))
		}
	}
	return words
}

// lengthsTable counts heating runs and pauses by length.
func lengthsTable(runs, pauses cycling.Lengths) table {
	t := table{Caption: "How long runs and pauses last", Heads: heads("Length", col("Heating runs", ""), col("Pauses", ""))}
	before := time.Duration(0)
	for i, class := range runs.Classes {
		name := length(before) + " to " + length(class.Below)
		switch {
		case class.Below == 0:
			name = length(before) + " and longer"
		case before == 0:
			name = "below " + length(class.Below)
		}
		paused := unknown
		if i < len(pauses.Classes) {
			paused = number(float64(pauses.Classes[i].Count), 0)
		}
		t.Rows = append(t.Rows, tableRow{Cells: []string{name, number(float64(class.Count), 0), paused}})
		before = class.Below
	}
	return t
}

func runBandsTable(c *cycling.Report) table {
	t := table{Caption: "Runs by outdoor temperature", Heads: heads("Outdoors", col("Running", "h"), col("Starts", ""), col("Short", ""), col("Usual heating run", ""))}
	for _, b := range c.ByOutdoor {
		usual := unknown
		if b.Median != nil {
			usual = length(*b.Median)
		}
		t.Rows = append(t.Rows, tableRow{Cells: []string{band(b.FromC, b.ToC, "°C"), number(b.RunS/3600, 1), number(float64(b.Starts), 0), number(float64(b.Short), 0), usual}})
	}
	return t
}

func band(from, to float64, unit string) string {
	return number(from, 0) + " to " + number(to, 0) + nbsp + unit
}

// startedBy says what starts the defrosts.
var startedBy = map[defrost.Kind]string{
	defrost.NotKnown: "What starts them is not known yet", defrost.Demand: "Started on demand", defrost.Timed: "Started by the clock, frost or not",
}

func defrostPart(o over) part {
	r := o.answer.Result
	d := &r.Defrosting
	p := part{ID: "defrosts", Name: "Defrosts"}
	if len(d.Episodes) == 0 {
		p.Lead = "None in these days."
		return p
	}
	p.Lead = sentence(startedBy[d.Pattern.Kind] + ": " + d.Pattern.Why)
	p.Figures = []figure{
		{"Defrosts", counted(r.Defrost.Count), remarks(with("median %s", quantity{Value: minutes(r.Defrost.MedianMinutes)}), with("every %s of running", quantity{Value: minutes(r.Defrost.MedianIntervalMinutes)}))},
		{"Of the running time", percent(r.Defrost.ShareOfRunTime), with("%s in all", quantity{Value: length(d.Length)})},
		{"Of the electricity", percent(r.Defrost.ShareOfElectricity), with("%s drawn from the water", energy(r.Defrost.DrawnKWh))},
		defrostCost(d),
	}
	p.Drawings = []drawing{both("defrosts", "Defrosts by outdoor temperature", func(id string, width float64) []byte { return defrostChart(o, id, width).SVG() })}
	for _, of := range []struct {
		caption, first, unit string
		bands                []defrost.Band
	}{{"Defrosts by outdoor temperature", "Outdoors", "°C", d.ByOutdoor}, {"Defrosts by humidity, where frost can form", "Humidity", "%", d.ByHumidity}} {
		if t := defrostTable(of.caption, of.first, of.unit, of.bands); len(t.Rows) > 0 {
			p.Tables = append(p.Tables, t)
		}
	}
	return p
}

func defrostCost(d *defrost.Report) figure {
	c := d.Cost
	if c == nil {
		return figure{"Cost", quantity{Value: unknown}, "no settled minutes around them"}
	}
	f := figure{"Cost", measured(new(c.ElectricityJ/joulePerKWh), 1, "kWh"), "more than their heat was worth"}
	if c.Penalty != nil {
		f.Remark = remarks(f.Remark, with("off the efficiency %s", percent(&c.Penalty.Share)))
	}
	f.Remark = remarks(f.Remark, fmt.Sprintf("rests on %d of %d", c.Known, len(d.Episodes)))
	return f
}

func defrostTable(caption, first, unit string, bands []defrost.Band) table {
	t := table{Caption: caption, Heads: heads(first, col("Running", "h"), col("Defrosts", ""), col("Together", ""), col("Cost", "kWh"))}
	for _, b := range bands {
		cost := unknown
		if b.Known > 0 {
			cost = number(b.ElectricityJ/joulePerKWh/float64(b.Known)*float64(b.Count), 2)
		}
		t.Rows = append(t.Rows, tableRow{Cells: []string{band(b.From, b.To, unit), number(b.RunS/3600, 1), number(float64(b.Count), 0), length(b.Length), cost}})
	}
	return t
}

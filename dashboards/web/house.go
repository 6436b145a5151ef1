package web

import (
	"fmt"
	"math"
	"strings"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/curve"
	"coldweek/analysis/heatloss"
	"coldweek/analysis/job"
	"coldweek/analysis/robust"
	"coldweek/dashboards/chart"
)

// housePage fills the page of the house and its curve.
func housePage(body *sectionBody, o over) {
	r := o.answer.Result
	body.Parts = append(body.Parts, lossPart(o), roomsPart(&r.Rooms), curvePart(o), capacityPart(r))
}

func lossPart(o over) part {
	r := o.answer.Result
	l := r.Loss
	why, stands, _ := strings.Cut(l.Why, "; ") // the second half is for who checks
	p := part{
		ID: "heat-loss", Name: "Heat loss", Lead: sentence(string(l.Verdict) + ": " + why), Notes: sentences(append([]string{stands}, l.Warnings...)),
		Figures: []figure{
			estimated("At design", l.GrossW, 1000, 1, "kW", with("design %s", measured(r.HeatLoss.DesignKW, 1, "kW"))),
			estimated("Of the design", l.Ratio, 0.01, 0, "%"),
			estimated("Plant must give there", l.NetW, 1000, 1, "kW", "with gains as they were"),
			estimated("No heat needed from", l.BaseC, 1, 1, "°C", "outdoors"),
		},
		Drawings: []drawing{both("heat-by-outdoor", "Heat of each day by outdoor temperature", func(id string, width float64) []byte { return lossChart(o, id, width).SVG() })},
	}
	if l.LossWPerK != nil {
		p.Words = append(p.Words, fmt.Sprintf("The house loses %s, by the %s, from %d of %d days.", spread(l.LossWPerK, 1, 0, "W/K"), l.Method, l.Days, len(l.Points)))
	}
	return p
}

func lossChart(o over, id string, width float64) chart.HeatByOutdoor {
	r := o.answer.Result
	l := r.Loss
	c := chart.HeatByOutdoor{ID: id, Title: nameOf(o.record) + ": heat of each day by outdoor temperature", Need: heatloss.Usual().FewestDays, Size: chart.Size{Width: width, Height: 380}}
	coldestC, warmestC := math.Inf(1), math.Inf(-1)
	for _, d := range l.Points {
		if d.OutdoorC == nil {
			continue
		}
		coldestC, warmestC = min(coldestC, *d.OutdoorC), max(warmestC, *d.OutdoorC)
		c.Days = append(c.Days, chart.HeatDay{
			Date: parseDate(d.Date, o.record.Zone()), OutdoorC: *d.OutdoorC, HeatKW: d.HeatW / 1000, Doubtful: d.Left != "", Why: string(d.Left),
		})
	}
	design := o.record.Design
	if design != nil && design.OutdoorTempC != nil {
		coldestC = min(coldestC, *design.OutdoorTempC)
		if design.HeatLossKW != nil {
			c.Design = &chart.HeatDesign{OutdoorC: *design.OutdoorTempC, HeatKW: *design.HeatLossKW}
		}
		if g := l.GrossW; g != nil {
			c.Loss = &chart.HeatFit{OutdoorC: *design.OutdoorTempC, HeatKW: g.Value / 1000, LowKW: g.Low / 1000, HighKW: g.High / 1000}
		}
	}
	for outdoorC := math.Floor(coldestC); outdoorC <= warmestC; outdoorC++ {
		if e, ok := l.NetAt(outdoorC); ok {
			c.Fit = append(c.Fit, chart.HeatFit{OutdoorC: outdoorC, HeatKW: e.Value / 1000, LowKW: e.Low / 1000, HighKW: e.High / 1000})
		}
	}
	return c
}

func roomsPart(r *comfort.Report) part {
	p := part{ID: "rooms", Name: "Rooms"}
	if len(r.Rooms) == 0 {
		p.Lead = "Not known: no room temperature is measured."
		return p
	}
	t := table{Caption: "How the rooms held", Heads: heads("Room", col("Mean", "°C"), col("Coldest twentieth below", "°C"), col("Set", "°C"), col("Below it", "h"), col("Known", "h"))}
	for _, room := range r.Rooms {
		name := upperFirst(kindInWords(room.Place))
		if name == "" {
			name = "Room"
		}
		t.Rows = append(t.Rows, tableRow{Cells: []string{name, number(room.MeanC, 1), number(room.P5C, 1), celsius(room.SetC).Value, measured(room.HoursBelowSet, 1, "").Value, number(room.KnownHours, 0)}})
	}
	p.Tables = []table{t}
	p.Notes = []string{fmt.Sprintf("Below means by more than %g%sK.", comfort.AllowanceK, nbsp)}
	if c := r.Coldest; c != nil {
		p.Words = append(p.Words, fmt.Sprintf("In the coldest %d hours, %s °C outdoors on average and %s at the lowest, the rooms were at %s °C, at the lowest %s.",
			c.Hours, number(c.OutdoorC, 1), number(c.LowestC, 1), number(c.RoomC, 1), number(c.LowestRoomC, 1)))
	}
	return p
}

// adviceWords say what an advice comes to.
var adviceWords = map[curve.Kind]string{
	curve.Unknown: "Whether it may come down is not known", curve.Lower: "It may come down", curve.Keep: "Leave it as it is", curve.Raise: "It is too low",
}

func curvePart(o over) part {
	r := o.answer.Result
	f, a := r.Curve, &r.CurveAdvice
	p := part{ID: "curve", Name: "Heating curve"}
	if f.Verdict != curve.Usable {
		p.Lead = sentence(string(f.Verdict) + ": " + f.Why)
		return p
	}
	p.Lead = sentence(adviceWords[a.Kind] + ": " + a.Why)
	p.Steps, p.Notes = sentences(a.Steps), sentences(a.Remarks)
	set := r.HeatingCurve.Set
	p.Figures = []figure{
		estimated("Flow at design", f.FlowAtDesignC, 1, 1, "°C", with("set %s", celsius(set.FlowAtDesignC))),
		estimated("Slope", &f.SlopeKPerK, 1, 2, "K per K", with("set %s", measured(set.SlopeKPerK, 2, ""))),
		{"Gap at design", measured(r.HeatingCurve.GapAtDesignK, 1, "K"), "followed less set"},
		{"Stands on", measured(&f.Hours, 0, "h"), fmt.Sprintf("of settled heating, scatter %s%sK", number(f.RMSK, 1), nbsp)},
	}
	if l := a.Lowest; l != nil && len(l.Points) > 0 {
		first := l.Points[0]
		deciding := ""
		if l.Deciding != "" {
			deciding = "by the room that needs most: " + kindInWords(l.Deciding)
		}
		p.Figures = append(p.Figures, estimated(fmt.Sprintf("Needed at %s °C", number(first.OutdoorC, 0)), &first.FlowC, 1, 1, "°C", deciding))
	} else if a.Missing != "" {
		p.Words = append(p.Words, sentence("What a design day will need is not known: "+a.Missing))
	}
	if g := a.Gain; g != nil {
		p.Figures = append(p.Figures, estimated(fmt.Sprintf("Gain of %s K less", number(g.LowerK, 1)), &g.SPFPct, 1, 1, "%", "of the SPF of heating, in weather like this"))
	}
	p.Drawings = []drawing{both("curve", "Flow temperature of each hour of settled heating", func(id string, width float64) []byte { return curveChart(o, id, width).SVG() })}
	return p
}

func curveChart(o over, id string, width float64) chart.CurveScatter {
	r := o.answer.Result
	c := chart.CurveScatter{ID: id, Title: nameOf(o.record) + ": heating curve", Need: 48, Hours: thinned(o.answer.hours), Size: chart.Size{Width: width, Height: 380}}
	if d := o.record.Design; d != nil {
		c.DesignOutdoorC = d.OutdoorTempC
	}
	if h := o.record.HeatingCurve; h != nil {
		for _, point := range h.Points {
			c.Set = append(c.Set, chart.CurveHour{OutdoorC: point.OutdoorTempC, FlowC: point.FlowTempC})
		}
		sortByOutdoor(c.Set)
	}
	low, high := r.Curve.ColdestC, r.Curve.MildestC
	if c.DesignOutdoorC != nil {
		low = min(low, *c.DesignOutdoorC)
	}
	for outdoorC := low; outdoorC <= high; outdoorC++ {
		c.Fitted = append(c.Fitted, chart.CurveHour{OutdoorC: outdoorC, FlowC: r.Curve.FlowC(outdoorC).Value})
	}
	if l := r.CurveAdvice.Lowest; l != nil {
		for _, point := range l.Points {
			c.Lowest = append(c.Lowest, chart.CurveHour{OutdoorC: point.OutdoorC, FlowC: point.FlowC.Value})
		}
	}
	return c
}

func capacityPart(r *job.Result) part {
	s := &r.Sizing
	p := part{ID: "capacity", Name: "Capacity", Lead: sentence(string(s.Verdict) + ": " + s.Why), Figures: []figure{
		estimated("Output at design", s.AtDesign, 1000, 1, "kW", map[capacity.Basis]string{capacity.Shown: "as it has shown", capacity.Laboratory: "by its laboratory points"}[s.Basis]),
		estimated("Needed there", s.NeededAtDesign, 1000, 1, "kW", "for the rooms"),
		{"At full output", percent(s.ShareOfTimeAtFull), with("%s", measured(s.HoursAtFull, 1, "h"))},
		{"Backup heater", measured(r.Capacity.BackupHours, 1, "h"), "at work"},
	}}
	if b := s.Balance; b != nil {
		if b.BelowC != nil {
			p.Words = append(p.Words, fmt.Sprintf("Balance point: below %s °C outdoors, as far as the lines are known.", number(*b.BelowC, 0)))
		} else {
			e := robust.Estimate{Value: b.OutdoorC, Low: b.LowC, High: b.HighC}
			p.Words = append(p.Words, fmt.Sprintf("Balance point: %s outdoors; below it the machine alone does not keep up.", spread(&e, 1, 1, "°C")))
		}
	}
	if s.InHandRatio != nil {
		p.Words = append(p.Words, fmt.Sprintf("In hand: output with defrosts is %s of the need, in the time hot water leaves.", spread(s.InHandRatio, 0.01, 0, "%")))
	}
	return p
}

package review

import (
	"fmt"
	"strings"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
	"coldweek/ingest"
)

// flow holds the flow at high output against what the record asks for.
func (w *Week) flow() Point {
	p := Point{}
	p.Limit = w.flowLimit()
	switch {
	case w.Flow.HighLPH == nil && !w.has(ingest.FlowRate):
		p.notKnown("The flow rate is not measured.", "publish flow_rate (l/h), or read the pump's display on a visit")
		return p
	case w.Flow.HighLPH == nil:
		p.notKnown("No day had an hour of settled heating with the flow measured.", "wait for colder days, or see why the flow rate is missing while it heats")
		return p
	}
	lph := *w.Flow.HighLPH
	p.value(lph, "l/h", 0)
	switch low := p.Limit.Low; {
	case low == nil:
		p.notKnown(fmt.Sprintf("%.0f l/h at high output, and nothing in the record to hold it against.", lph),
			"write heat_pump.minimum_flow_lph (data sheet) and commissioned.flow_rate_lph into the site record")
	case lph < *low:
		p.look(fmt.Sprintf("%.0f l/h at high output is below the limit.", lph), "look at the strainer and the magnetic filter", "see that all circuits and valves are open, and bleed them", "read the pump's setting")
	default:
		p.good(fmt.Sprintf("%.0f l/h at high output%s.", lph, w.flowBeside()))
	}
	return p
}

// flowLimit is the rule's own at the output at which the flow is taken.
func (w *Week) flowLimit() Limit {
	took := siteday.Stretch{}
	if w.Flow.HighFromW != nil {
		took = siteday.Stretch{S: 1, HeatJ: *w.Flow.HighFromW}
	}
	lph := w.Limits.LeastFlowLPH(watch.Info, took)
	if lph <= 0 {
		return Limit{}
	}
	l := Limit{Low: &lph, Text: fmt.Sprintf("at least %.0f l/h", lph), Basis: new(ByPractice)}
	switch m, c, d := w.Limits.Plant.MinimumFlowLPH, w.Limits.Plant.CommissionedLPH, w.Limits.DesignFlowLPH; {
	case m != nil && *m == lph:
		l.Basis, l.Source = new(ByMaker), "the maker's minimum flow"
	case c != nil:
		l.Source = fmt.Sprintf("%.0f %% of the %.0f l/h commissioned, no source", 100*lph / *c, *c)
	case d != nil:
		l.Source = fmt.Sprintf("%.0f %% of the %.0f l/h designed, no source", 100*lph / *d, *d)
	}
	return l
}

// flowBeside names the other flows that the record knows.
func (w *Week) flowBeside() string {
	var others []string
	add := func(lph *float64, what string) {
		if lph != nil {
			others = append(others, fmt.Sprintf(what, *lph))
		}
	}
	add(w.Limits.Plant.CommissionedLPH, "%.0f commissioned")
	add(w.Limits.DesignFlowLPH, "%.0f designed")
	add(w.Limits.Plant.MinimumFlowLPH, "%.0f the maker's minimum")
	if len(others) == 0 {
		return ""
	}
	return "; " + strings.Join(others, ", ")
}

// difference holds flow less return at high output against the design's share for
// that output: where the flow is as designed the difference goes with the heat.
func (w *Week) difference() Point {
	p := Point{}
	k, known := w.steadyDifferenceK()
	outputW := 0.0
	if w.Flow.HighDifferenceK != nil {
		k, known = *w.Flow.HighDifferenceK, true
		outputW = w.highOutputW(*w.Flow.HighDifferenceK)
	}
	if !known {
		next := "publish flow_temp and return_temp"
		if w.has(ingest.FlowTemp) && w.has(ingest.ReturnTemp) {
			next = "wait for colder days, or see why flow or return is missing while it heats"
		}
		p.notKnown("Flow and return were not both known in settled heating.", next)
		return p
	}
	p.value(k, "K", 1)
	p.Limit = w.differenceLimit(outputW)
	switch l := p.Limit; {
	case l.High == nil:
		p.notKnown(fmt.Sprintf("%.1f K in settled heating, and no design difference to hold it against.", k), "write design.flow_return_difference_k into the site record")
	case k > *l.High:
		p.look(fmt.Sprintf("%.1f K is wider than the design's: less water moves than was planned.", k), "compare the flow rate with the commissioned one", "look at the strainer, valves and the pump's setting")
	case l.Low != nil && k < *l.Low:
		p.look(fmt.Sprintf("%.1f K is narrow: heat is small for the water that moves, or some of it takes a short way.", k),
			"hold both sensors against a thermometer", "look for an open bypass or a mixing header between flow and return", "see whether the pump is set too high")
	default:
		p.good(fmt.Sprintf("%.1f K%s.", k, differenceAt(outputW)))
	}
	return p
}

// steadyDifferenceK is the middle one of the hours of settled heating.
func (w *Week) steadyDifferenceK() (float64, bool) {
	var all []float64
	for i := range w.Sums.Hours {
		h := &w.Sums.Hours[i].Steady
		flowC, flow := h.Flow.Of()
		returnC, back := h.Return.Of()
		if flow && back {
			all = append(all, flowC-returnC)
		}
	}
	return robust.Median(all)
}

func differenceAt(outputW float64) string {
	if outputW <= 0 {
		return " in settled heating"
	}
	return fmt.Sprintf(" at %.1f kW", outputW/1000)
}

// highOutputW is the heat that flow and difference at high output make.
func (w *Week) highOutputW(differenceK float64) float64 {
	if w.Flow.HighLPH == nil {
		return 0
	}
	return *w.Flow.HighLPH * differenceK * w.Limits.Plant.VolumeJPerLK / secondsPerHour
}

// differenceLimit is the design's difference for the output, with as much to both
// sides as the flow has below its design. Output not known is taken as the design's,
// and has no lower limit.
func (w *Week) differenceLimit(outputW float64) Limit {
	designK, lossW := w.DesignDifferenceK, w.Limits.Plant.DesignHeatLossW
	if designK == nil {
		return Limit{}
	}
	l := Limit{High: new(*designK / watch.LeastOfDesign), Basis: new(ByDesign), Source: fmt.Sprintf("%.1f K planned at the design load", *designK)}
	l.Text = fmt.Sprintf("at most %.1f K", *l.High)
	if lossW != nil && outputW > 0 {
		atOutputK := *designK * outputW / *lossW
		l.Low, l.High = new(atOutputK*watch.LeastOfDesign), new(max(atOutputK, *designK)/watch.LeastOfDesign)
		l.Text = fmt.Sprintf("%.1f to %.1f K", *l.Low, *l.High)
		l.Source = fmt.Sprintf("%.1f K planned at %.1f kW, for flows down to %.0f %% of the design's", *designK, *lossW/1000, 100*watch.LeastOfDesign)
	}
	return l
}

const secondsPerHour = 3600

package web

import (
	"cmp"
	"math"
	"slices"
	"time"

	"coldweek/analysis/job"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// longestLog bounds the table of events, for the page's weight.
const longestLog = 100

// event is a line of the logbook.
type event struct {
	from, to time.Time

	From, To          string
	What, Class       string
	Length            string
	Heat, Electricity quantity
	Ratio             quantity // heat by electricity
	Note              string
}

// logbook is what the plant did in a period, in the order of time: what a
// drawing shows, for who cannot see it or wants the figures.
type logbook struct {
	Events []event
	Total  int // of which Events are the first
}

func logbookOf(span *job.Span, severalDays bool) logbook {
	part := siteday.Sum(span.Trace, span.Operation, "", span.From, span.To)
	l := logger{span: span, scale: scaleOf(&part.Sums), severalDays: severalDays}
	for _, r := range part.Sums.Runs {
		l.add(r.From, r.To, runNames[r.Kind()], "running", nil, note(r.OpenBefore, r.OpenAfter, !r.Started, !r.Stopped))
	}
	for _, h := range part.Sums.HotWater {
		peak := with("flow up to %s", celsius(&h.PeakFlowC))
		l.add(h.From, h.To, "Hot water", "hot-water", func(s operation.State) bool { return s == operation.HotWater }, peak)
	}
	for _, d := range part.Sums.Defrosts {
		l.add(d.From, d.To, "Defrost", "defrost", func(s operation.State) bool { return s == operation.Defrost },
			with("%s outdoors", celsius(d.OutdoorC)))
	}
	slices.SortStableFunc(l.events, func(a, b event) int {
		return cmp.Or(a.from.Compare(b.from), b.to.Compare(a.to))
	})
	return logbook{l.events[:min(len(l.events), longestLog)], len(l.events)}
}

var runNames = map[string]string{"heating": "Run, heating", "hot_water": "Run, hot water", "mixed": "Run, heating and hot water"}

// note says what of a run was not seen.
func note(cutBefore, cutAfter, startUnseen, endUnseen bool) string {
	var parts []string
	switch {
	case cutBefore:
		parts = append(parts, "began before the range")
	case startUnseen:
		parts = append(parts, "start not seen")
	}
	switch {
	case cutAfter:
		parts = append(parts, "went on after it")
	case endUnseen:
		parts = append(parts, "end not seen")
	}
	return remarks(parts...)
}

// scale is by what the meters' registers correct the integral of the readings.
type scale struct{ HeatFactor, ElectricityFactor float64 }

func scaleOf(s *siteday.Sums) scale {
	factor := func(r siteday.Register) float64 {
		if r.UsedS == 0 || r.IntegralKWh == 0 {
			return 1
		}
		return r.RiseKWh / r.IntegralKWh
	}
	return scale{factor(s.HeatRegister), factor(s.ElectricityRegister)}
}

// logger writes a logbook.
type logger struct {
	span        *job.Span
	scale       scale
	severalDays bool
	events      []event
}

// add enters an event. Its energies are those of the intervals whose state
// belongs to it; nil takes all.
func (l *logger) add(from, to time.Time, what, class string, belongs func(operation.State) bool, note string) {
	heatKWh, electricityKWh := l.energies(from, to, belongs)
	e := event{
		from: from, to: to, From: l.clock(from), To: l.clock(to), What: what, Class: class, Length: length(to.Sub(from)),
		Heat: measured(heatKWh, 2, "kWh"), Electricity: measured(electricityKWh, 2, "kWh"), Ratio: quantity{Value: unknown}, Note: note,
	}
	if heatKWh != nil && electricityKWh != nil && *electricityKWh > 0 && *heatKWh > 0 {
		ratio := *heatKWh / *electricityKWh
		e.Ratio = measured(&ratio, 2, "")
	}
	l.events = append(l.events, e)
}

// clock writes a time of day, with the date where the range needs it.
func (l *logger) clock(t time.Time) string {
	if l.severalDays {
		return t.Format("Mon 2, 15:04")
	}
	return t.Format("15:04")
}

// energies returns nil where no part of the event was measured.
func (l *logger) energies(from, to time.Time, belongs func(operation.State) bool) (heatKWh, electricityKWh *float64) {
	t := l.span.Trace
	heatJ, electricityJ, covered := 0.0, 0.0, false
	for i := t.Index(from); i < t.Len() && t.Start(i).Before(to); i++ {
		if !t.Covered(i) || belongs != nil && !belongs(l.span.Operation.State[i]) {
			continue
		}
		covered = true
		heatJ += t.HeatW[i] * t.DurS[i]
		electricityJ += t.PowerW[i] * t.DurS[i]
	}
	if !covered || math.IsNaN(heatJ) || math.IsNaN(electricityJ) {
		return nil, nil
	}
	heat, electricity := heatJ*l.scale.HeatFactor/joulePerKWh, electricityJ*l.scale.ElectricityFactor/joulePerKWh
	return &heat, &electricity
}

package capacity

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/efficiency"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Plant is what the record knows. Nil is not told.
type Plant struct {
	Points        []efficiency.Point // laboratory's
	DesignC       *float64           // outdoor
	DesignFlowC   *float64
	BackupOnMeter bool // the electricity meter sees the backup heater
	// HeatAfterBackup: the backup heater's heat is in the metered heat.
	HeatAfterBackup bool
}

// Sign is why hours count as full output.
type Sign string

// The signs.
const (
	AsInLaboratory Sign = "output as in its laboratory points"
	BelowTarget    Sign = "water that stayed below its target"
	BackupHelped   Sign = "the backup heater at work"
	PowerLevel     Sign = "power that no longer rose as it got colder"
)

// Basis is what a capacity stands on.
type Basis string

// The bases.
const (
	Shown      Basis = "shown"      // by hours of full output
	Laboratory Basis = "laboratory" // full output was not reached
	Unknown    Basis = "not known"
)

// Report is what a machine can give against what its house needs. Nil is not
// known.
type Report struct {
	Basis Basis
	Signs []Sign
	Bands []Band // by outdoor temperature
	// FullFromC and FullToC are the outdoor temperatures at which full output was
	// shown.
	FullFromC, FullToC *float64

	// AtDesign is the settled output at the design outdoor temperature, between
	// defrosts; BeyondK says how far it was drawn on from what was measured.
	AtDesign *robust.Estimate
	BeyondK  float64
	// SustainedRatio is what of it is left with frost on the coil and the defrosts
	// it takes, in the hours of full output that ran throughout; 1 where there were
	// too few.
	SustainedRatio float64
	HoursAtFull    *float64
	// ShareOfTimeAtFull is of all the time that was measured.
	ShareOfTimeAtFull *float64

	// NeededAtDesign is what the house takes at the design temperature without
	// hot water. The machine has only the rest of the time for it, a share of
	// 1 - HotWaterShare.
	NeededAtDesign *robust.Estimate
	HotWaterShare  float64
	// InHandRatio is output with defrosts by need, in the time that is left.
	InHandRatio *robust.Estimate
	Balance     *Balance
	Verdict     Verdict
	Why         string
}

// Band is what happened in some kelvin of outdoor temperature.
type Band struct {
	FromC, ToC  float64
	Hours       int     // that settled
	ShownW      float64 // P95 of settled output while power was near its own P95
	LaboratoryW *float64
	FullHours   int
}

// Of looks at hours; need may be nil where the house's need is not known.
func Of(hours []siteday.Hour, p Plant, need Need) Report {
	lab := newLaboratory(p.Points)
	settled := p.hoursOf(hours, lab)
	r := Report{Basis: Unknown, SustainedRatio: 1, HotWaterShare: hotWaterShare(hours)}
	r.Signs = sign(settled)
	l := r.findLine(settled, lab, flowLine(settled, p.DesignFlowC))
	r.countFull(hours, settled, l)
	r.Bands = bandRows(settled)
	r.atDesign(p, l, need)
	r.balance(l, need)
	r.judge(p)
	return r
}

// findLine returns nil when nothing is known of the greatest output.
func (r *Report) findLine(settled []hour, lab *laboratory, flowC func(outdoorC float64) float64) *line {
	var full []*hour
	for i := range settled {
		if settled[i].signed {
			full = append(full, &settled[i])
		}
	}
	switch {
	case len(full) >= minFullHours:
		l := shownLine(full, lab, flowC)
		r.Basis, r.FullFromC, r.FullToC = Shown, &l.lowC, &l.highC
		r.SustainedRatio = sustainedRatio(full, l)
		return l
	case lab != nil:
		r.Basis = Laboratory
		return laboratoryLine(lab, flowC)
	}
	return nil
}

// sustainedRatio compares whole hours with the greatest output.
func sustainedRatio(full []*hour, l *line) float64 {
	throughW, greatestW, n := 0.0, 0.0, 0
	for _, h := range full {
		atW, _, ok := l.at(h.outdoorC)
		if h.throughout && ok {
			throughW += h.throughW
			greatestW += atW
			n++
		}
	}
	if n < minFullHours || greatestW <= 0 {
		return 1
	}
	return min(throughW/greatestW, 1)
}

// fewRatio of the laboratory's output is far enough from it to say that full
// output never was.
const fewRatio = 0.85

// countFull adds the hours near the greatest output up. Where full output was
// not shown they are none, if the laboratory says that all stayed well below.
func (r *Report) countFull(hours []siteday.Hour, settled []hour, l *line) {
	coveredS, fullS, below := 0.0, 0.0, len(settled) > 0
	for i := range hours {
		coveredS += hours[i].CoveredS
	}
	fullW := fullPowerW(settled)
	for i := range settled {
		h := &settled[i]
		if !(h.heatW <= fewRatio*h.labW) { // also where that is not known
			below = false
		}
		if h.atFull = r.Basis == Shown && h.full(l, fullW); h.atFull {
			fullS += h.heatingS
		}
	}
	if coveredS > 0 && (r.Basis == Shown || below) {
		r.HoursAtFull, r.ShareOfTimeAtFull = new(fullS/3600), new(fullS/coveredS)
	}
}

// full says whether an hour gave the greatest output, or took the power of it
// with some frost on the coil.
func (h *hour) full(l *line, fullPowerW float64) bool {
	greatestW, _, ok := l.at(h.outdoorC)
	return h.signed || ok && h.heatW >= fullRatio*greatestW ||
		ok && h.heatW >= fewRatio*greatestW && h.powerW >= fullRatio*fullPowerW
}

// fullPowerW is the usual power of hours with a sign of full output.
func fullPowerW(settled []hour) float64 {
	all := band{}
	for i := range settled {
		all.hours = append(all.hours, &settled[i])
	}
	medianW, _ := all.quantile(0.5, powerOf, func(h *hour) bool { return h.signed })
	return medianW
}

func bandRows(settled []hour) []Band {
	var rows []Band
	for _, b := range bandsOf(settled) {
		row := Band{FromC: float64(b.low), ToC: float64(b.low + binK), Hours: len(b.hours)}
		p95W, _ := b.quantile(0.95, powerOf, anyHour)
		row.ShownW, _ = b.quantile(0.95, heatOf, func(h *hour) bool { return h.powerW >= nearPowerRatio*p95W })
		if labW, n := b.quantile(0.5, func(h *hour) float64 { return h.labW }, func(h *hour) bool { return !math.IsNaN(h.labW) }); n > 0 {
			row.LaboratoryW = &labW
		}
		for _, h := range b.hours {
			if h.atFull {
				row.FullHours++
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// flowLine is the flow temperature the plant runs at, by outdoor temperature; the
// design's where it has hardly run.
func flowLine(settled []hour, designFlowC *float64) func(outdoorC float64) float64 {
	var outdoorC, flowC []float64
	for i := range settled {
		if !math.IsNaN(settled[i].flowC) {
			outdoorC, flowC = append(outdoorC, settled[i].outdoorC), append(flowC, settled[i].flowC)
		}
	}
	switch {
	case len(flowC) >= leastLineHours && stat.StdDev(outdoorC, nil) >= 1:
		alpha, beta := stat.LinearRegression(outdoorC, flowC, nil, false)
		return func(atC float64) float64 { return alpha + beta*atC }
	case designFlowC != nil:
		return func(float64) float64 { return *designFlowC }
	case len(flowC) > 0:
		meanC := stat.Mean(flowC, nil)
		return func(float64) float64 { return meanC }
	}
	return func(float64) float64 { return math.NaN() }
}

func hotWaterShare(hours []siteday.Hour) float64 {
	hotWaterS, coveredS := 0.0, 0.0
	for i := range hours {
		hotWaterS += hours[i].HotWaterS
		coveredS += hours[i].CoveredS
	}
	if coveredS == 0 {
		return 0
	}
	return min(hotWaterS/coveredS, 0.9)
}

package pipework

import (
	"fmt"
	"math"
	"strings"
)

const (
	// closeShare is the doubt of a loss worked out from tables (common
	// practice, no source).
	closeShare = 0.1
	// noisyMPerS is the velocity from which noise, and in copper erosion, are
	// to be expected (common practice, no source).
	noisyMPerS = 1.5
	// starvedShare is the share of its needed flow below which a consumer is
	// said to be starved; above it a heating surface hardly notices (common
	// practice, no source).
	starvedShare = 0.9
	// loadShare is how far loads may differ before it is worth a word, and flows
	// from what setters are set to.
	loadShare = 0.1
	// longLoopM and costlyLoopKPa are the usual limits of a floor heating loop
	// of 16 mm (common practice, no source).
	longLoopM     = 100
	costlyLoopKPa = 25
)

// remarks are what stands beside the verdict.
func (s *System) remarks(r *Result, w *working, division *Division) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	s.remarkOnVerdict(r, add)
	s.remarkOnLoad(r, add)
	for i := range s.Legs {
		s.remarkOnPipe(i, w, add)
		s.remarkOnSetter(i, w, add)
	}
	if division != nil {
		s.remarkOnDivision(w, division, add)
	}
	return list
}

type adder func(format string, args ...any)

func (s *System) remarkOnVerdict(r *Result, add adder) {
	if r.SpareKPa != nil && math.Abs(*r.SpareKPa) < closeShare*r.IndexLossKPa {
		add("That is close: friction and fittings are known to some %.0f %%. Measure the flow before relying on it.", 100*closeShare)
	}
	if s.factor() > 1 {
		add("The maker asks for %.0f l/h at least, more than the load needs (%.0f l/h): worked out at that flow, where flow and return differ by %.1f K.",
			s.MinimumFlowLPH, s.at(1).totalLPH, r.DifferenceK)
	}
	for _, other := range s.OtherSettings {
		spareKPa := other.Curve.HeadKPa(r.FlowLPH) - r.IndexLossKPa
		if r.Verdict == Runs && spareKPa >= 0 && r.FlowLPH <= other.Curve.EndLPH() && other.Curve.HeadKPa(r.FlowLPH) < *r.HeadKPa {
			add("Pump setting %q would do too, with %.1f kPa to spare.", other.Name, spareKPa)
		}
	}
}

func (s *System) remarkOnLoad(r *Result, add adder) {
	if len(s.Missing) == 0 && s.DesignHeatLossKW > 0 && math.Abs(r.LoadKW-s.DesignHeatLossKW) > loadShare*s.DesignHeatLossKW {
		add("The legs serve %.1f kW together, design.heat_loss_kw is %.1f.", r.LoadKW, s.DesignHeatLossKW)
	}
	if r.Verdict == Runs && !r.LargestIsAtLeast && s.RatedHeatKW > (1+loadShare)**r.LargestLoadKW {
		add("At its rated %.1f kW the machine would need more flow than the pump drives: flow and return then differ by at least %.1f K.",
			s.RatedHeatKW, s.differenceK(1)*s.RatedHeatKW / *r.LargestLoadKW)
	}
}

// remarkOnPipe holds velocity and friction against the limits.
func (s *System) remarkOnPipe(i int, w *working, add adder) {
	leg, loss := &s.Legs[i], w.losses[i]
	var over []string
	if loss.VelocityMPerS > s.Limits.VelocityMPerS {
		over = append(over, fmt.Sprintf("%.2f m/s is above %.4g m/s", loss.VelocityMPerS, s.Limits.VelocityMPerS))
	}
	if loss.LossPaPerM > s.Limits.LossPaPerM {
		over = append(over, fmt.Sprintf("%.0f Pa/m is above %.4g Pa/m", loss.LossPaPerM, s.Limits.LossPaPerM))
	}
	if len(over) > 0 {
		noise := ""
		if loss.VelocityMPerS > noisyMPerS {
			noise = "; expect noise and, in copper, erosion"
		}
		add("%q: %s%s.", leg.Name, strings.Join(over, ", "), noise)
	}
	if lossKPa := loss.TotalPa() / 1000; leg.FloorLoop && (leg.LengthM > longLoopM || lossKPa > costlyLoopKPa) {
		add("%q: a loop of %.4g m that takes %.1f kPa is long; up to %d m and %d kPa are usual.", leg.Name, leg.LengthM, lossKPa, longLoopM, costlyLoopKPa)
	}
}

func (s *System) remarkOnSetter(i int, w *working, add adder) {
	leg := &s.Legs[i]
	if leg.Setter == nil {
		return
	}
	neededLPH := w.flowsLPH[i] / float64(leg.Parallel)
	if end := leg.Setter.MaximumLPH; end > 0 && neededLPH > end {
		add("%q: %.0f l/h are needed through its flow setter, whose scale ends at %.0f l/h.", leg.Name, neededLPH, end)
	}
	if set := leg.Setter.SetLPH; set > 0 && math.Abs(set-neededLPH) > loadShare*neededLPH {
		add("%q: its flow setter is set to %.0f l/h, %.0f l/h are needed.", leg.Name, set, neededLPH)
	}
}

// remarkOnDivision names the consumers that get too little while all valves
// stand open, those held back by their own setter aside.
func (s *System) remarkOnDivision(w *working, d *Division, add adder) {
	var starved []string
	for i := range s.Legs {
		if s.Legs[i].FlowLPH > 0 && d.ThrottlePa[i] == 0 && d.FlowsLPH[i] < starvedShare*w.flowsLPH[i] {
			starved = append(starved, fmt.Sprintf("%q %.0f %%", s.Legs[i].Name, 100*d.FlowsLPH[i]/w.flowsLPH[i]))
		}
	}
	if len(starved) > 0 {
		add("With every valve open the flow divides so that these get less than they need: %s. Balance the others.", some(starved))
	}
}

// some joins the first of many texts.
func some(texts []string) string {
	const shown = 8
	if len(texts) > shown {
		return fmt.Sprintf("%s and %d more", strings.Join(texts[:shown], ", "), len(texts)-shown)
	}
	return strings.Join(texts, ", ")
}

func cautions() []string {
	return []string{
		"Without separation the heat pump's own flow falls when rooms shut off: keep enough circuits open for its minimum flow, also while it defrosts.",
		"A dirty filter or air takes head that is not in these figures; measure the flow on commissioning day.",
		"The maker's instructions and local rules come first. Work on pressurised, hot or glycol-filled pipes is for qualified people.",
	}
}

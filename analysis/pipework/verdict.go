package pipework

import (
	"fmt"
	"strings"
)

// judge gives the verdict: the index circuit's loss against the head left.
func (s *System) judge(r *Result, w *working) {
	switch {
	case len(s.Missing) > 0:
		r.Verdict, r.Why = NotKnown, "not given is "+strings.Join(s.Missing, "; ")+"."
		return
	case w.index < 0:
		r.Verdict, r.Why = NotKnown, "nothing is served: give the legs serves_kw or serves_room."
		return
	case len(s.Pump) == 0:
		r.Verdict = NotKnown
		r.Why = fmt.Sprintf("no pump curve is given. The pump must have at least %.1f kPa left for the pipework at %.0f l/h.", r.IndexLossKPa, r.FlowLPH)
		return
	}
	s.weigh(r, w)
	s.tellLargest(r)
}

func (s *System) weigh(r *Result, w *working) {
	headKPa := s.Pump.HeadKPa(r.FlowLPH)
	spareKPa := headKPa - r.IndexLossKPa
	beyond := r.FlowLPH > s.Pump.EndLPH()
	if !beyond {
		r.HeadKPa, r.SpareKPa = &headKPa, &spareKPa
	}
	switch {
	case spareKPa < 0:
		r.Verdict, r.Why = DoesNot, s.shortWords(r, w, -spareKPa, beyond)
	case beyond:
		r.Verdict = NotKnown
		r.Why = fmt.Sprintf("the pump curve ends at %.0f l/h and %.0f l/h are needed, where the index circuit takes %.1f kPa. Add points to the curve.",
			s.Pump.EndLPH(), r.FlowLPH, r.IndexLossKPa)
	default:
		r.Verdict = Runs
		r.Why = fmt.Sprintf("at %.0f l/h the index circuit takes %.1f kPa and the pump has %.1f kPa left: %.1f kPa to spare.",
			r.FlowLPH, r.IndexLossKPa, headKPa, spareKPa)
	}
}

func (s *System) shortWords(r *Result, w *working, shortKPa float64, beyond bool) string {
	amount, left := fmt.Sprintf("short of %.1f kPa", shortKPa), "has"
	if beyond {
		amount, left = fmt.Sprintf("short of at least %.1f kPa", shortKPa), "has at most"
	}
	most := s.costliest(w)
	leg := &s.Legs[most]
	return fmt.Sprintf("%s at %.0f l/h, where the index circuit takes %.1f kPa and the pump %s %.1f kPa left. The leg that costs most is %q (%s): %.1f kPa.",
		amount, r.FlowLPH, r.IndexLossKPa, left, s.Pump.HeadKPa(r.FlowLPH), leg.Name, leg.describe(), w.losses[most].TotalPa()/1000)
}

// describe names a leg's pipe: "2 x 22x0.9 copper, 24 m".
func (leg *Leg) describe() string {
	text := fmt.Sprintf("%s %s, %.4g m", leg.Size, materialWords(leg.Material), leg.LengthM)
	if leg.Parallel > 1 {
		text = fmt.Sprintf("%d x %s", leg.Parallel, text)
	}
	return text
}

func materialWords(material string) string {
	if material == "pex" {
		return "PE-X"
	}
	return material
}

// tellLargest adds the largest load and the pump's working point there.
func (s *System) tellLargest(r *Result) {
	factor, ended := s.largestFactor()
	r.LargestLoadKW, r.LargestIsAtLeast = new(factor*r.LoadKW), ended
	if !ended {
		flowLPH := s.at(factor).totalLPH
		r.WorkingPoint = &PumpPoint{flowLPH, s.Pump.HeadKPa(flowLPH)}
	}
}

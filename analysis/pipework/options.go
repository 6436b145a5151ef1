package pipework

import (
	"fmt"
	"slices"
	"strings"

	"coldweek/ingest/site/catalogue"
)

const (
	// mostSizes is how much larger a pipe is made: beyond it the cure lies
	// elsewhere.
	mostSizes = 2
	// widestK is the difference up to which a lower flow is offered: beyond it
	// emitters and machine are seldom made for it (common practice, no source).
	widestK = 8
	stepK   = 0.5
)

// options returns changes with which a system that does not run would.
func (s *System) options() []Option {
	list := []Option{}
	for _, try := range []func() (Option, bool){s.largerPipes, s.secondPair, s.widerDifference} {
		if o, ok := try(); ok {
			list = append(list, o)
		}
	}
	return append(list, s.otherSettings()...)
}

// runs returns the system's figures as an option, ok when it runs with more to
// spare than the doubt of its loss.
func (s *System) runs(change string) (Option, bool) {
	w := s.at(s.factor())
	o := Option{Change: change, FlowLPH: w.totalLPH, IndexLossKPa: w.indexPa() / 1000}
	o.SpareKPa = s.Pump.HeadKPa(o.FlowLPH) - o.IndexLossKPa
	return o, o.SpareKPa >= closeShare*o.IndexLossKPa && o.FlowLPH <= s.Pump.EndLPH()
}

// with returns a copy of the system whose legs can be changed.
func (s *System) with() *System {
	changed := *s
	changed.Legs = slices.Clone(s.Legs)
	return &changed
}

// largerPipes makes the costliest pipe of the index circuit a size larger,
// until the system runs or all are mostSizes larger.
func (s *System) largerPipes() (Option, bool) {
	changed, steps := s.with(), make([]int, len(s.Legs))
	for changed.enlarge(steps) {
		if o, ok := changed.runs(changed.largerWords(s)); ok {
			return o, true
		}
	}
	return Option{}, false
}

// enlarge makes the pipe with the most friction on the index circuit a size
// larger, of those that can be, and counts it; floor loops stay as they are.
func (s *System) enlarge(steps []int) bool {
	w := s.at(s.factor())
	best, larger := -1, catalogue.Size{}
	for _, i := range s.path(w.index) {
		size, ok := catalogue.Larger(s.Legs[i].Material, s.Legs[i].Size)
		fixed := !ok || s.Legs[i].FloorLoop || steps[i] == mostSizes
		if !fixed && (best < 0 || w.losses[i].FrictionPa > w.losses[best].FrictionPa) {
			best, larger = i, size
		}
	}
	if best < 0 {
		return false
	}
	steps[best]++
	s.Legs[best].Size, s.Legs[best].Pipe.BoreM = larger.String(), larger.BoreMM()/1000
	return true
}

func (s *System) largerWords(before *System) string {
	var parts []string
	for i := range s.Legs {
		if leg := &s.Legs[i]; leg.Size != before.Legs[i].Size {
			parts = append(parts, fmt.Sprintf("%s in place of %s for %q", leg.Size, before.Legs[i].Size, leg.Name))
		}
	}
	return strings.Join(parts, ", ")
}

// secondPair lays one more pair beside the costliest leg, or makes each floor
// loop two of half its length.
func (s *System) secondPair() (Option, bool) {
	changed := s.with()
	i := s.costliest(s.at(s.factor()))
	leg := &changed.Legs[i]
	if leg.FloorLoop {
		leg.Parallel, leg.LengthM = 2*leg.Parallel, leg.LengthM/2
		return changed.runs(fmt.Sprintf("%d loops of %.4g m for %q, the flow of each halved", leg.Parallel, leg.LengthM, leg.Name))
	}
	leg.Parallel++
	return changed.runs(fmt.Sprintf("%d pairs of %s side by side for %q", leg.Parallel, leg.Size, leg.Name))
}

// widerDifference lowers the flow by a greater difference of flow and return,
// which costs mean temperature at the emitters.
func (s *System) widerDifference() (Option, bool) {
	nowK := s.differenceK(1)
	for differenceK := nowK + stepK; differenceK <= widestK; differenceK += stepK {
		changed := s.with()
		for i := range changed.Legs {
			changed.Legs[i].FlowLPH *= nowK / differenceK
			changed.Legs[i].DifferenceK *= differenceK / nowK
		}
		if changed.factor() > 1 {
			return Option{}, false
		}
		words := fmt.Sprintf("a difference of %.1f K between flow and return; the emitters are then %.2f K cooler in the mean, or the flow that much warmer: check their output",
			differenceK, (differenceK-nowK)/2)
		if o, ok := changed.runs(words); ok {
			return o, true
		}
	}
	return Option{}, false
}

func (s *System) otherSettings() []Option {
	var list []Option
	for _, other := range s.OtherSettings {
		changed := s.with()
		changed.Pump = other.Curve
		if o, ok := changed.runs(fmt.Sprintf("pump setting %q", other.Name)); ok {
			list = append(list, o)
		}
	}
	return list
}

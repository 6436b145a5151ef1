package pipework

import (
	"cmp"
	"slices"
)

// working is a system at one set of flows.
type working struct {
	flowsLPH []float64
	totalLPH float64
	losses   []Loss
	// circuitPa is the loss from the heat pump to the end of each leg.
	circuitPa []float64
	// index is the consumer with the greatest loss, -1 without consumers.
	index int
}

// indexPa is the loss of the index circuit.
func (w *working) indexPa() float64 {
	if w.index < 0 {
		return 0
	}
	return w.circuitPa[w.index]
}

// at works the system out at factor times the flow that its loads need.
func (s *System) at(factor float64) *working {
	w := &working{flowsLPH: s.neededLPH(factor), index: -1}
	w.totalLPH = s.totalOf(w.flowsLPH)
	w.losses = make([]Loss, len(s.Legs))
	w.circuitPa = make([]float64, len(s.Legs))
	for i := range s.Legs {
		leg := &s.Legs[i]
		w.losses[i] = leg.LossAt(w.flowsLPH[i], s.Liquid)
		w.circuitPa[i] = w.losses[i].TotalPa()
		if leg.Parent != AtHeatPump {
			w.circuitPa[i] += w.circuitPa[leg.Parent]
		}
		if leg.FlowLPH > 0 && (w.index < 0 || w.circuitPa[i] > w.circuitPa[w.index]) {
			w.index = i
		}
	}
	return w
}

// path returns the legs from the heat pump to the end of one, in that order.
func (s *System) path(leg int) []int {
	var legs []int
	for i := leg; i >= 0; i = s.Legs[i].Parent {
		legs = append(legs, i)
	}
	slices.Reverse(legs)
	return legs
}

// costliest returns the leg of the index circuit that takes the most.
func (s *System) costliest(w *working) int {
	legs := s.path(w.index)
	return slices.MaxFunc(legs, func(a, b int) int {
		return cmp.Compare(w.losses[a].TotalPa(), w.losses[b].TotalPa())
	})
}

// largestFactor returns how many times the needed flow the pump can drive
// through the index circuit, at most to the end of its curve (ended). Loss
// rises and head falls with the flow, so there is one such point.
func (s *System) largestFactor() (factor float64, ended bool) {
	totalLPH := s.at(1).totalLPH
	spareKPa := func(factor float64) float64 {
		return s.Pump.HeadKPa(factor*totalLPH) - s.at(factor).indexPa()/1000
	}
	low, high := 0.0, s.Pump.EndLPH()/totalLPH
	if spareKPa(high) >= 0 {
		return high, true
	}
	for range bisections {
		if middle := (low + high) / 2; spareKPa(middle) >= 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low, false
}

// bisections halve an interval until it is at the last digits of a float64.
const bisections = 52

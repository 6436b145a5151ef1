package metrology

import "math"

const (
	// waterJPerLK is what a litre of water carries for each K: EN 1434's heat
	// coefficient at 45/40 °C, 1.1515 kWh/(m³·K). From 30 to 60 °C it is within
	// 0.7 %; a glycol mixture carries less, and its doubt comes out too large.
	waterJPerLK = 4145
	// smallestFlowLPH stands in for less: no meter of a house starts below it,
	// so its limit there would have no meaning.
	smallestFlowLPH = 10
	// smallestDifferenceK is the least difference by which heat may be divided
	// where the flow is not known.
	smallestDifferenceK = 1
	// wholeK is how many steps of 1 K the heat is sorted into; the last takes
	// all the rest. The directive knows no minimum difference above 10 K.
	wholeK = 11
)

// HeatSums are the moments of a period's heat from which the error of any heat
// meter follows. They add: the sums of a month are those of its days. Count the
// intervals whose heat counts, defrosts included: a constant error of the
// difference goes on while the heat runs backwards.
type HeatSums struct {
	NetJ           float64 `json:"net_j"`              // signed
	GrossJ         float64 `json:"gross_j"`            // each interval's size, whatever its sign
	PerFlowJPerLPH float64 `json:"per_flow_j_per_lph"` // gross by flow rate
	CapacityJPerK  float64 `json:"capacity_j_per_k"`   // heat that 1 K more of difference would have made

	FlowUnknownJ       float64 `json:"flow_unknown_j"`       // gross of unknown flow rate
	DifferenceUnknownJ float64 `json:"difference_unknown_j"` // of it, of unknown difference too

	ByDifferenceJ [wholeK]float64 `json:"by_difference_j"` // gross by whole K of difference, the last 10 K and more
}

// Count adds one interval: its signed heat, and the flow rate and the difference
// of flow and return in it, NaN where they are not known. Heat that is not known
// is not counted.
func (s *HeatSums) Count(heatJ, flowLPH, differenceK, durS float64) {
	grossJ := math.Abs(heatJ)
	if math.IsNaN(grossJ) {
		return
	}
	s.NetJ += heatJ
	s.GrossJ += grossJ
	differenceK = math.Abs(differenceK)
	if differenceK >= 0 {
		s.ByDifferenceJ[int(min(differenceK, wholeK-1))] += grossJ
	}
	switch {
	case flowLPH > 0:
		s.PerFlowJPerLPH += grossJ / max(flowLPH, smallestFlowLPH)
		s.CapacityJPerK += flowLPH * durS * (waterJPerLK / 3600.0)
	case differenceK >= smallestDifferenceK:
		s.FlowUnknownJ += grossJ
		s.CapacityJPerK += grossJ / differenceK
	default:
		s.FlowUnknownJ += grossJ
		s.DifferenceUnknownJ += grossJ
	}
}

// Add adds the sums of another span.
func (s *HeatSums) Add(o *HeatSums) {
	s.NetJ += o.NetJ
	s.GrossJ += o.GrossJ
	s.PerFlowJPerLPH += o.PerFlowJPerLPH
	s.CapacityJPerK += o.CapacityJPerK
	s.FlowUnknownJ += o.FlowUnknownJ
	s.DifferenceUnknownJ += o.DifferenceUnknownJ
	for k := range s.ByDifferenceJ {
		s.ByDifferenceJ[k] += o.ByDifferenceJ[k]
	}
}

// BelowRangeShare is the share of the heat, of known difference, that was
// delivered at less than the meter's minimum difference, where its class
// promises nothing. The minimum counts as the next whole K. Unclassified sensors
// have no range to be below.
func (m HeatMeter) BelowRangeShare(s *HeatSums) float64 {
	belowJ, totalJ := 0.0, 0.0
	for k, heatJ := range s.ByDifferenceJ {
		totalJ += heatJ
		if float64(k) < m.minimumDifferenceK() {
			belowJ += heatJ
		}
	}
	if totalJ == 0 || m.Class == HeatUnclassified {
		return 0
	}
	return belowJ / totalJ
}

// capacityJPerK takes heat of unknown flow and difference as made at the minimum
// difference, where the pair's error weighs most within the meter's range.
func (m HeatMeter) capacityJPerK(s *HeatSums) float64 {
	return s.CapacityJPerK + s.DifferenceUnknownJ/m.minimumDifferenceK()
}

// flowLimitJ is what the flow sensor may have misread. Heat of unknown flow is
// taken as made at a tenth of the permanent flow, which every meter of the
// directive must cover. The cap is met by the period as a whole, never by single
// intervals, so the limit is rather too large.
func (m HeatMeter) flowLimitJ(s *HeatSums) float64 {
	const rangeOfFlow = 10
	l := m.limits()
	growthJ := m.permanentFlowLPH()*s.PerFlowJPerLPH + rangeOfFlow*s.FlowUnknownJ
	return min(l.flowPct*s.GrossJ+l.flowGrowthPct*growthJ, l.flowCapPct*s.GrossJ) / 100
}

func (m HeatMeter) pairLimitJ(s *HeatSums) float64 {
	l := m.limits()
	return l.pairPct/100*s.GrossJ + l.pairK*m.capacityJPerK(s)
}

func (m HeatMeter) calculatorLimitJ(s *HeatSums) float64 {
	l := m.limits()
	return l.calculatorPct/100*s.GrossJ + l.calculatorK*m.capacityJPerK(s)
}

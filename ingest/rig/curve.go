package rig

import "math"

// MatchedCurve returns the heating curve that holds the house at its set
// point: emitters at the mean water temperature that gives off the loss less
// the internal gains, plus half the difference between flow and return. Four
// points from the design outdoor temperature to 15 °C; marginK is added to all.
func (p Plant) MatchedCurve(marginK float64) []CurvePoint {
	coldC, mildC := p.Design.OutdoorC, 15.0
	points := make([]CurvePoint, 0, 4)
	for i := range 4 {
		outdoorC := coldC + (mildC-coldC)*float64(i)/3
		flowC := p.holdingFlowC(math.Round(outdoorC)) + marginK
		points = append(points, CurvePoint{OutdoorC: math.Round(outdoorC), FlowC: math.Round(flowC*2) / 2})
	}
	return points
}

// holdingFlowC is the steady flow temperature that holds the set point.
func (p Plant) holdingFlowC(outdoorC float64) float64 {
	neededW := max(0, p.House.HeatLossWPerK*(p.House.RoomSetC-outdoorC)-p.House.GainsW)
	excessK := 50 * math.Pow(neededW/(p.Emitters.OutputAt50KW*1e3), 1/p.Emitters.Exponent)
	massKgPerS := p.Loop.FlowLPH / 3.6e6 * densityKgPerM3(p.House.RoomSetC+excessK)
	return p.House.RoomSetC + excessK + neededW/(massKgPerS*waterJPerKgK)/2
}

package capacity

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/efficiency"
)

// laboratory is the greatest output by test points: between them planes, beyond
// them the plane that fits them all, for so far.
type laboratory struct {
	inside                *efficiency.Laboratory
	plane                 plane
	lowC, highC           float64 // outdoor
	lowestFlowC, topFlowC float64
}

// plane is a heat output over outdoor and flow temperature.
type plane struct{ atZeroW, wPerOutdoorK, wPerFlowK float64 }

func (p plane) at(outdoorC, flowC float64) float64 {
	return p.atZeroW + p.wPerOutdoorK*outdoorC + p.wPerFlowK*flowC
}

// newLaboratory returns nil of points too few to lay a line through.
func newLaboratory(points []efficiency.Point) *laboratory {
	l := laboratory{inside: efficiency.NewLaboratory(points), lowC: math.Inf(1), highC: math.Inf(-1), lowestFlowC: math.Inf(1), topFlowC: math.Inf(-1)}
	for _, p := range points {
		l.lowC, l.highC = min(l.lowC, p.OutdoorC), max(l.highC, p.OutdoorC)
		l.lowestFlowC, l.topFlowC = min(l.lowestFlowC, p.FlowC), max(l.topFlowC, p.FlowC)
	}
	if len(points) < 2 || l.highC-l.lowC < 3 {
		return nil
	}
	var ok bool
	if l.plane, ok = planeThrough(points, len(points) > 2 && l.topFlowC-l.lowestFlowC >= 3); !ok {
		return nil
	}
	return &l
}

// planeThrough is that of least squares, level in flow temperature if that does
// not vary.
func planeThrough(points []efficiency.Point, byFlow bool) (plane, bool) {
	columns := 2
	if byFlow {
		columns = 3
	}
	a, heatW := mat.NewDense(len(points), columns, nil), mat.NewVecDense(len(points), nil)
	for i, p := range points {
		a.SetRow(i, []float64{1, p.OutdoorC, p.FlowC}[:columns])
		heatW.SetVec(i, p.HeatW)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, heatW); err != nil {
		return plane{}, false
	}
	found := plane{atZeroW: x.AtVec(0), wPerOutdoorK: x.AtVec(1)}
	if byFlow {
		found.wPerFlowK = x.AtVec(2)
	}
	return found, true
}

// heatW returns the output and how far the question lies beyond the test points;
// false when that is too far.
func (l *laboratory) heatW(outdoorC, flowC float64) (heatW, beyondK float64, ok bool) {
	if l == nil || math.IsNaN(outdoorC) || math.IsNaN(flowC) {
		return 0, 0, false
	}
	nearC, nearFlowC := min(max(outdoorC, l.lowC), l.highC), min(max(flowC, l.lowestFlowC), l.topFlowC)
	outdoorK, flowK := math.Abs(outdoorC-nearC), math.Abs(flowC-nearFlowC)
	beyondK = max(outdoorK, flowK)
	if outdoorK > mostBeyondK || flowK > mostBeyondFlowK {
		return 0, beyondK, false
	}
	heatW = l.plane.at(outdoorC, flowC)
	if insideW, within := l.inside.HeatW(nearC, nearFlowC); within {
		heatW += insideW - l.plane.at(nearC, nearFlowC)
	}
	return heatW, beyondK, heatW > 0
}

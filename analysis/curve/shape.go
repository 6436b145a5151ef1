package curve

import "math"

// Point is a point of a heating curve.
type Point struct{ OutdoorC, FlowC float64 }

// Shape names what a curve was taken to look like.
type Shape string

// The shapes.
const (
	AsSet    Shape = "as set"
	PartLoad Shape = "emitters at part load"
	Straight Shape = "straight"
)

// mildC is the mild end of a curve, to which its mean slope is taken.
const mildC = 15

// shape is a function of the outdoor temperature that rises as it gets colder;
// a curve is level + size·shape.
type shape struct {
	name Shape
	at   func(outdoorC float64) float64
}

// along reads a curve by rising outdoor temperature, at least two points, its
// end pieces drawn on straight.
func along(points []Point, outdoorC float64) float64 {
	i := 1
	for i < len(points)-1 && outdoorC > points[i].OutdoorC {
		i++
	}
	a, b := points[i-1], points[i]
	return a.FlowC + (outdoorC-a.OutdoorC)*(b.FlowC-a.FlowC)/(b.OutdoorC-a.OutdoorC)
}

const (
	// gainsK is how far below the room's the outdoor temperature lies at which
	// people and appliances heat the house alone (common practice, no source).
	gainsK = 2
	// meanShare of the flow's excess at full load is the mean water's, the rest
	// half the difference of flow and return: 20 and 3 K, for instance.
	meanShare = 0.87
	// usualExponent is between radiators' 1.3 and floors' 1.1.
	usualExponent = 1.2
	usualRoomC    = 20
)

// partLoad is the curve that emitters need for a load that falls to nothing at
// pivotC.
func partLoad(exponent, coldC, pivotC float64) shape {
	return shape{PartLoad, func(outdoorC float64) float64 {
		q := max(pivotC-outdoorC, 0) / (pivotC - coldC)
		return meanShare*math.Pow(q, 1/exponent) + (1-meanShare)*q
	}}
}

// shapes are tried in the order in which they are believed.
func (k *Known) shapes(coldestC float64) []shape {
	var found []shape
	if len(k.Set) >= 2 && falls(k.Set) {
		lastC := k.Set[len(k.Set)-1].FlowC
		scaleK := k.Set[0].FlowC - lastC
		found = append(found, shape{AsSet, func(outdoorC float64) float64 { return (along(k.Set, outdoorC) - lastC) / scaleK }})
	}
	coldC := coldestC
	if k.DesignOutdoorC != nil {
		coldC = *k.DesignOutdoorC
	}
	pivotC := k.roomC() - gainsK
	found = append(found, partLoad(k.exponent(), min(coldC, pivotC-1), pivotC))
	return append(found, shape{Straight, func(outdoorC float64) float64 { return (mildC - outdoorC) / 20 }})
}

// falls says whether a curve has any slope to take a shape from.
func falls(points []Point) bool { return points[0].FlowC > points[len(points)-1].FlowC }

func (k *Known) exponent() float64 {
	if k.Exponent > 0 {
		return k.Exponent
	}
	return usualExponent
}

func (k *Known) roomC() float64 {
	if k.RoomSetC != nil {
		return *k.RoomSetC
	}
	return usualRoomC
}

// SetSlopeKPerK is the mean slope of the set curve, as that of a Fit is taken;
// nil without a set curve.
func (k *Known) SetSlopeKPerK() *float64 {
	if len(k.Set) < 2 {
		return nil
	}
	coldC := k.Set[0].OutdoorC
	if k.DesignOutdoorC != nil {
		coldC = *k.DesignOutdoorC
	}
	warmC := max(mildC, coldC+1)
	return new((along(k.Set, warmC) - along(k.Set, coldC)) / (warmC - coldC))
}

// SetAtDesignC is the flow temperature of the set curve at the design outdoor
// temperature, within its limits; nil where either is not known.
func (k *Known) SetAtDesignC() *float64 {
	if len(k.Set) < 2 || k.DesignOutdoorC == nil {
		return nil
	}
	flowC := along(k.Set, *k.DesignOutdoorC)
	if k.MinimumFlowC != nil {
		flowC = max(flowC, *k.MinimumFlowC)
	}
	if k.MaximumFlowC != nil {
		flowC = min(flowC, *k.MaximumFlowC)
	}
	return &flowC
}

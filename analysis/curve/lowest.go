package curve

import (
	"math"

	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Need is the heat that the rooms take from the plant at an outdoor temperature,
// in W with its 95 % interval; false where it is not known.
type Need func(outdoorC float64) (robust.Estimate, bool)

// Lowest is the lowest curve that still holds the rooms.
type Lowest struct {
	// Points go by rising outdoor temperature; the first is what the design
	// outdoor temperature will need.
	Points   []LowestPoint
	Emission *Emission
	// Deciding is the room that needs the warmest water; empty where the house
	// was looked at as one.
	Deciding string
	// MarginK is how far the fitted curve lies above, where it does least.
	MarginK robust.Estimate
	AtC     float64 // outdoors, where that is
}

// LowestPoint is the flow temperature needed at an outdoor temperature.
type LowestPoint struct {
	OutdoorC float64
	FlowC    robust.Estimate
	MarginK  robust.Estimate // of the fitted curve over it
}

const (
	// roomSensorK is what room sensors may be off together, 95 % (common
	// practice, no source).
	roomSensorK = 0.3
	// everyK of outdoor temperature the lowest curve has a point.
	everyK = 5
	// judgedToC: warmer than this, or than anything seen, a curve's margin matters
	// little and is known worst; gains do most of the heating.
	judgedToC = 10
)

// LowestOf holds what the rooms need against what the emitters gave. The second
// result says why nothing can be told.
func (f *Fit) LowestOf(s *siteday.Sums, k Known, need Need) (*Lowest, string) {
	switch {
	case f.Verdict != Usable:
		return nil, "there is no curve to lower"
	case need == nil:
		return nil, "the heat loss of the house is not known well"
	case k.DesignOutdoorC == nil:
		return nil, "the record has no design outdoor temperature"
	}
	e := k.emission(s)
	if e == nil {
		return nil, "what the emitters give is not known: it takes five days on which the compressor ran most of the time and rooms were measured"
	}
	l := &Lowest{Emission: e, MarginK: robust.Estimate{Value: math.Inf(1)}}
	for _, outdoorC := range outdoors(*k.DesignOutdoorC) {
		needW, ok := need(outdoorC)
		if !ok {
			return nil, "the heat loss of the house is not known well"
		}
		p := LowestPoint{OutdoorC: outdoorC, FlowC: k.lowestAt(e, needW)}
		p.MarginK = less(f.FlowC(outdoorC), p.FlowC)
		if p.MarginK.Value < l.MarginK.Value && (outdoorC <= min(judgedToC, f.MildestC) || len(l.Points) == 0) {
			l.MarginK, l.AtC = p.MarginK, outdoorC
		}
		l.Points = append(l.Points, p)
	}
	designW, _ := need(*k.DesignOutdoorC)
	_, l.Deciding, _ = k.roomsExcess(e, designW.Value, e.HeatW.Value)
	return l, ""
}

// outdoors are the design outdoor temperature and every fifth degree above it.
func outdoors(designC float64) []float64 {
	points := []float64{designC}
	for c := everyK * math.Floor(designC/everyK+1); c <= mildC; c += everyK {
		if c > designC+1 {
			points = append(points, c)
		}
	}
	return points
}

// lowestAt is the flow temperature at which the emitters give what is needed,
// with what need, emission, exponent and room sensors leave in doubt.
func (k *Known) lowestAt(e *Emission, needW robust.Estimate) robust.Estimate {
	at := func(heatW, atW, exponent float64) float64 {
		meanC, _, ok := k.roomsExcess(e, heatW, atW)
		if !ok {
			meanC = k.roomC() + e.excessFor(heatW, atW, exponent)
		}
		return meanC + e.SpreadK/2*heatW/atW
	}
	n := e.Exponent
	valueC := at(needW.Value, e.HeatW.Value, n.Value)
	// The exponent matters as far as the need is from what was seen, by rooms or not.
	bent := func(exponent float64) float64 { return e.excessFor(needW.Value, e.HeatW.Value, exponent) }
	bendK := max(math.Abs(bent(n.Low)-bent(n.Value)), math.Abs(bent(n.High)-bent(n.Value)))
	half := func(otherNeedW, otherSeenW float64) float64 {
		byNeedK := at(otherNeedW, e.HeatW.Value, n.Value) - valueC
		bySeenK := at(needW.Value, otherSeenW, n.Value) - valueC
		return math.Hypot(math.Hypot(byNeedK, bySeenK), math.Hypot(bendK, roomSensorK))
	}
	return robust.Estimate{Value: valueC, Low: valueC - half(needW.Low, e.HeatW.High), High: valueC + half(needW.High, e.HeatW.Low)}
}

// less is a difference of two estimates that know nothing of each other.
func less(a, b robust.Estimate) robust.Estimate {
	d := a.Value - b.Value
	return robust.Estimate{Value: d, Low: d - math.Hypot(a.Value-a.Low, b.High-b.Value), High: d + math.Hypot(a.High-a.Value, b.Value-b.Low)}
}

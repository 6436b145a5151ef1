package emitter

import (
	"math"

	"coldweek/analysis/robust"
)

// Room is what is known of a room: from its design and read on a visit. Nil or
// empty is not known.
type Room struct {
	Place       string
	Radiators   []Radiator
	FloorAreaM2 float64  // heated floor
	DesignLossW *float64 // at the design temperatures
	DesignRoomC *float64 // that the loss was worked out for
	SetC        *float64 // promised

	Spots Spots
}

// Spots are the readings of one visit that concern a room.
type Spots struct {
	RoomC, OutdoorC *float64
	FlowC, ReturnC  *float64  // of the water in its emitters
	SurfaceC        []float64 // of its heated floor, in several places
}

// Output is what a room's emitters gave on a visit, against what the room lost.
type Output struct {
	Place     string
	Floor     *Floor
	Radiators *robust.Estimate // W; nil without radiators or water temperatures
	HeatW     *robust.Estimate // of both together
	NeededW   *float64         // the design loss at the temperatures found
	Ratio     *robust.Estimate // HeatW by NeededW
	Verdict   Verdict
	Missing   []string // what was not known, for people
}

// Floor is a heated floor by its surface.
type Floor struct {
	SurfaceC  float64 // mean of the readings
	WarmestC  float64
	HeatWM2   robust.Estimate // to the room
	HeatW     robust.Estimate
	NeededWM2 *float64 // of the floor alone, where it heats the room alone
	NeededC   *float64 // surface temperature that would give it
	Limits    []Limit
}

// Limit is one of EN 1264's for a surface.
type Limit struct {
	Where  string // occupied, perimeter, bathroom
	LimitC float64
	Beyond bool // the warmest reading is above it
}

// Verdict says whether a room's emitters carry its loss.
type Verdict string

// The verdicts.
const (
	NotKnown Verdict = "not known"
	Carries  Verdict = "carries"
	Even     Verdict = "even" // cannot be told from just enough
	Short    Verdict = "short"
)

// What spot readings and standards may be off by (common practice, no source):
// a hand-held surface or room thermometer, one clamped to a pipe, a radiator as
// it is fitted, and a floor with furniture on it.
const (
	spotDoubtK     = 0.3
	waterDoubtK    = 0.5
	ratingDoubt    = 0.05
	furnishedDoubt = 0.05
)

// Outputs judges each room.
func Outputs(rooms []Room, designOutdoorC *float64) []Output {
	outputs := make([]Output, len(rooms))
	for i := range rooms {
		outputs[i] = rooms[i].output(designOutdoorC)
	}
	return outputs
}

func (r *Room) output(designOutdoorC *float64) Output {
	o := Output{Place: r.Place, Verdict: NotKnown}
	if r.Spots.RoomC == nil {
		o.Missing = append(o.Missing, "room temperature")
		return o
	}
	o.NeededW = r.needed(designOutdoorC, &o)
	o.Floor = r.floor(o.NeededW, &o)
	o.Radiators = r.radiators(&o)
	o.HeatW = r.together(&o)
	if o.HeatW == nil || o.NeededW == nil || *o.NeededW <= 0 {
		return o
	}
	needed := *o.NeededW
	o.Ratio = &robust.Estimate{Value: o.HeatW.Value / needed, Low: o.HeatW.Low / needed, High: o.HeatW.High / needed}
	switch {
	case o.Ratio.Low >= 1:
		o.Verdict = Carries
	case o.Ratio.High < 1:
		o.Verdict = Short
	default:
		o.Verdict = Even
	}
	return o
}

// needed is the design loss at the temperatures found: it goes with the
// difference of room and outdoors.
func (r *Room) needed(designOutdoorC *float64, o *Output) *float64 {
	switch {
	case r.DesignLossW == nil:
		o.Missing = append(o.Missing, "design loss of the room")
	case r.DesignRoomC == nil || designOutdoorC == nil || *r.DesignRoomC <= *designOutdoorC:
		o.Missing = append(o.Missing, "design temperatures")
	case r.Spots.OutdoorC == nil:
		o.Missing = append(o.Missing, "outdoor temperature")
	default:
		share := (*r.Spots.RoomC - *r.Spots.OutdoorC) / (*r.DesignRoomC - *designOutdoorC)
		return new(max(share, 0) * *r.DesignLossW)
	}
	return nil
}

func (r *Room) floor(neededW *float64, o *Output) *Floor {
	if r.FloorAreaM2 <= 0 && len(r.Spots.SurfaceC) == 0 {
		return nil
	}
	if len(r.Spots.SurfaceC) == 0 {
		o.Missing = append(o.Missing, "surface temperature of the floor")
		return nil
	}
	meanC, warmestC, doubtK := spread(r.Spots.SurfaceC)
	roomC := *r.Spots.RoomC
	f := &Floor{SurfaceC: meanC, WarmestC: warmestC}
	// Surface and room each may be off.
	doubtK = math.Hypot(doubtK, spotDoubtK)
	f.HeatWM2 = robust.Estimate{
		Value: FloorWM2(meanC, roomC),
		Low:   (1 - furnishedDoubt) * FloorWM2(meanC-doubtK, roomC),
		High:  (1 + furnishedDoubt) * FloorWM2(meanC+doubtK, roomC),
	}
	f.Limits = limitsOf(warmestC, roomC)
	if r.FloorAreaM2 <= 0 {
		o.Missing = append(o.Missing, "heated area of the floor")
		return f
	}
	f.HeatW = times(f.HeatWM2, r.FloorAreaM2)
	if neededW != nil && len(r.Radiators) == 0 {
		f.NeededWM2 = new(*neededW / r.FloorAreaM2)
		f.NeededC = new(FloorSurfaceC(*f.NeededWM2, roomC))
	}
	return f
}

// spread returns mean and warmest of readings and how far the mean may be off:
// by the thermometer, and by where it was held.
func spread(readingsC []float64) (meanC, warmestC, doubtK float64) {
	warmestC = math.Inf(-1)
	for _, c := range readingsC {
		meanC += c / float64(len(readingsC))
		warmestC = max(warmestC, c)
	}
	variance := 0.0
	for _, c := range readingsC {
		variance += (c - meanC) * (c - meanC)
	}
	n := float64(len(readingsC))
	if n > 1 {
		doubtK = 2 * math.Sqrt(variance/(n-1)/n)
	}
	return meanC, warmestC, math.Hypot(doubtK, spotDoubtK)
}

func limitsOf(warmestC, roomC float64) []Limit {
	bathroomC := roomC + BathroomLimitK
	return []Limit{
		{"occupied", OccupiedLimitC, warmestC > OccupiedLimitC},
		{"bathroom", bathroomC, warmestC > bathroomC},
		{"perimeter", PerimeterLimitC, warmestC > PerimeterLimitC},
	}
}

func (r *Room) radiators(o *Output) *robust.Estimate {
	s := &r.Spots
	switch {
	case len(r.Radiators) == 0:
		return nil
	case s.FlowC == nil || s.ReturnC == nil:
		o.Missing = append(o.Missing, "flow and return temperature")
		return nil
	}
	var sum robust.Estimate
	offK := math.Hypot(waterDoubtK, spotDoubtK)
	for _, radiator := range r.Radiators {
		excessK := ExcessK(*s.FlowC, *s.ReturnC, *s.RoomC)
		sum.Value += radiator.At(excessK)
		sum.Low += (1 - ratingDoubt) * radiator.At(excessK-offK)
		sum.High += (1 + ratingDoubt) * radiator.At(excessK+offK)
	}
	return &sum
}

// together adds floor and radiators; nil where the room has one whose output is
// not known.
func (r *Room) together(o *Output) *robust.Estimate {
	heatedFloor := r.FloorAreaM2 > 0
	if heatedFloor && o.Floor == nil || len(r.Radiators) > 0 && o.Radiators == nil || !heatedFloor && len(r.Radiators) == 0 {
		return nil
	}
	var sum robust.Estimate
	if heatedFloor {
		sum = o.Floor.HeatW
	}
	if o.Radiators != nil {
		sum.Value, sum.Low, sum.High = sum.Value+o.Radiators.Value, sum.Low+o.Radiators.Low, sum.High+o.Radiators.High
	}
	return &sum
}

func times(e robust.Estimate, factor float64) robust.Estimate {
	return robust.Estimate{Value: e.Value * factor, Low: e.Low * factor, High: e.High * factor}
}

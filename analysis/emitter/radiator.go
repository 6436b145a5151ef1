package emitter

import "math"

const (
	// usualRatedK and usualExponent are taken where a radiator's paper does not
	// say: EN 442's 75/65/20 and a panel radiator.
	usualRatedK   = 50
	usualExponent = 1.3
	// FloorExponent is that of EN 1264's base characteristic.
	FloorExponent = 1.1
)

// Radiator is rated per EN 442: it gives OutputW at an excess temperature of
// RatedAtK, and at another excess that times (excess/RatedAtK)^Exponent. Zero
// RatedAtK and Exponent are the usual ones, 50 K and 1.3.
type Radiator struct {
	OutputW, RatedAtK, Exponent float64
}

// Usual returns the radiator with what its paper does not say filled in.
func (r Radiator) Usual() Radiator {
	if r.RatedAtK <= 0 {
		r.RatedAtK = usualRatedK
	}
	if r.Exponent <= 0 {
		r.Exponent = usualExponent
	}
	return r
}

// At returns the output at an excess temperature; none below the room's.
func (r Radiator) At(excessK float64) float64 {
	r = r.Usual()
	return r.OutputW * math.Pow(max(excessK, 0)/r.RatedAtK, r.Exponent)
}

// Between returns the output between a flow and a return temperature.
func (r Radiator) Between(flowC, returnC, roomC float64) float64 {
	return r.At(ExcessK(flowC, returnC, roomC))
}

// ExcessFor returns the excess temperature at which it gives so much.
func (r Radiator) ExcessFor(heatW float64) float64 {
	r = r.Usual()
	return r.RatedAtK * math.Pow(max(heatW, 0)/r.OutputW, 1/r.Exponent)
}

const (
	// evenCooling is the ratio of the excess of the return to that of the flow
	// below which the mean of both says too much (common practice, no source).
	evenCooling = 0.7
	// ratedFlowK and ratedReturnK are the excesses of EN 442's rating, 75/65/20.
	ratedFlowK, ratedReturnK = 55, 45
)

// logShare is what the logarithmic excess of the rating is of its arithmetic
// one: a rating is by the latter, so the former must be held against its own.
var logShare = logMeanK(ratedFlowK, ratedReturnK) / ((ratedFlowK + ratedReturnK) / 2.0)

// ExcessK is how far the water in an emitter is above the room, to be held
// against a rating: the mean of flow and return less the room, as EN 442 has
// it. Where the water cools so far that the return's excess is less than 0.7 of
// the flow's, that says too much and the logarithmic mean is taken, made
// comparable with ratings. Zero when either is below the room.
func ExcessK(flowC, returnC, roomC float64) float64 {
	flowK, returnK := flowC-roomC, returnC-roomC
	switch {
	case flowK <= 0 || returnK <= 0:
		return 0
	case returnK/flowK >= evenCooling:
		return (flowK + returnK) / 2
	}
	return logMeanK(flowK, returnK) / logShare
}

// LogExcessK is the logarithmic mean excess, of a flow and a return above the
// room.
func LogExcessK(flowC, returnC, roomC float64) float64 {
	return logMeanK(flowC-roomC, returnC-roomC)
}

// logMeanK is the logarithmic mean, also of equal values, where its formula has
// none.
func logMeanK(aK, bK float64) float64 {
	if math.Abs(aK-bK) < 1e-9*aK {
		return aK
	}
	return (aK - bK) / math.Log(aK/bK)
}

// Circulated returns what a radiator gives and the temperature at which its
// water leaves, for water of a flow temperature at a flow rate; volumeJPerLK is
// the heat a litre holds per K. Without flow or excess it gives nothing and the
// water leaves at the room's temperature.
func (r Radiator) Circulated(flowC, roomC, flowLPH, volumeJPerLK float64) (heatW, returnC float64) {
	capacityWPerK := flowLPH / secondsPerHour * volumeJPerLK
	if capacityWPerK <= 0 || flowC <= roomC || r.OutputW <= 0 {
		return 0, roomC
	}
	// What the water loses grows as the return falls, what the radiator gives
	// shrinks: they meet once between the room and the flow.
	low, high := roomC, flowC
	for range bisections {
		returnC = (low + high) / 2
		if capacityWPerK*(flowC-returnC) > r.Between(flowC, returnC, roomC) {
			low = returnC
		} else {
			high = returnC
		}
	}
	return capacityWPerK * (flowC - returnC), returnC
}

const (
	secondsPerHour = 3600
	// bisections halve 50 K to below the last digits of a temperature.
	bisections = 60
)

package emitter

import "math"

// What EN 1264-2 allows a floor's surface: where people stay, at its edges
// where they do not, and in bathrooms above the room.
const (
	OccupiedLimitC  = 29
	PerimeterLimitC = 35
	BathroomLimitK  = 9
)

// baseWPerM2 is EN 1264-2's base characteristic q = 8.92 (surface - room)^1.1.
const baseWPerM2 = 8.92

// FloorWM2 is what a floor gives by its mean surface temperature; none when it
// is not warmer than the room.
func FloorWM2(surfaceC, roomC float64) float64 {
	return baseWPerM2 * math.Pow(max(surfaceC-roomC, 0), FloorExponent)
}

// FloorSurfaceC is the mean surface temperature at which a floor gives so much.
func FloorSurfaceC(heatWM2, roomC float64) float64 {
	return roomC + math.Pow(max(heatWM2, 0)/baseWPerM2, 1/FloorExponent)
}

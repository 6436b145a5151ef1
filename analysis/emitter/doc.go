// Package emitter says what radiators and heated floors give off, whether a
// room's emitters carry its loss, and how water divides between circuits.
//
// Radiators follow EN 442: the output goes with a power of the excess of the
// water over the room. Floors follow the base characteristic of EN 1264-2, from
// the surface to the room: what the pipes and the covering do below it does not
// matter to who measures the surface. Both hold for the heat that leaves the
// emitter, in steady state.
//
// Results carry their doubt. What was not measured is not guessed: a room
// without a room temperature, or a floor without a surface temperature, has no
// output.
package emitter

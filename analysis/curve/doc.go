// Package curve says which heating curve a plant was seen to follow, what the
// rooms need at least, and whether and in what steps it may come down.
//
// The fit takes hours of settled heating, the controller's target where it is
// published and the flow temperature where not. A controller looks at a damped
// outdoor temperature, may let the room have a say, and stops at its limits: the
// damping is the one that leaves the least residual, the room's say is fitted
// beside the curve where room temperatures are known, and hours at a limit are
// left out. The shape is the set curve's where the record has one that explains
// the readings no worse than others, else that of emitters at part load,
//
//	flow = room + A·q^(1/n) + B·q,  q = share of the load
//
// else a straight line. Where several shapes do equally well they part outside
// what was seen, and the interval holds them all.
//
// A plant that holds one flow temperature in all weathers, or that is switched
// on and off at high output, has no usable curve, and that is the answer.
//
// Slopes have the sign of the curve: K of flow per K of outdoor temperature,
// negative, as flow falls when it gets warmer. A curve bends, so its slope is
// the mean one, from the design outdoor temperature to 15 °C.
//
// Hot water is not looked at and no advice here touches its temperatures.
//
// Sources: the emitter curve is that of modelica-buildings'
// SupplyReturnTemperatureReset; Tukey's bisquare as in Huber, Robust Statistics,
// 1981.
package curve

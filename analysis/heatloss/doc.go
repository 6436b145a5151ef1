// Package heatloss finds what a house loses from the heat it takes, and holds
// it against the design heat loss.
//
// Two figures, never mixed:
//
//	gross(T) = loss · (room - T)     all that leaves the house; a design heat
//	                                 loss is this, for it knows no gains
//	net(T)   = the fitted line at T  what the plant must deliver, after gains
//
// Gains are people, cooking, the sun, electricity used in the house and what a
// cylinder in it loses; they are not told apart.
//
// Two methods:
//
// Signature: daily heat against outdoor temperature, the energy signature of
// ASHRAE's inverse modelling: a plain line, or three parameters, y = y0 + b ·
// max(0, base - T), when days reach the base temperature. With indoor
// temperatures the outdoor one is counted as if the room had been at its design
// temperature. Yesterday's outdoor temperature, the sun, and the heat that went
// into or came out of the house with its own temperature are taken in as
// Akaike's criterion (corrected for few days) finds them worth it.
//
// Grey box: room temperature hour by hour as the answer of two heat capacities
// to heat, weather and unknown gains, by a Kalman filter and the largest
// posterior. It sees what the house stores and so needs fewer days; it needs
// indoor temperatures, and starts from what is usual of houses. It speaks for the
// first two weeks, then the signature does, which assumes less.
//
// Every interval is one of 95 % and holds the fit's own doubt, made larger for
// days that resemble each other, and the heat meter's, in quadrature: a fit
// cannot know the loss better than its heat meter, whose error does not average
// out.
//
// An error in proportion to the heat goes into every figure in full. A constant
// error of flow minus return adds the same heat to mild and cold days while the
// pump runs: it goes into the net heat in full, and into the loss only as far as
// water moves longer in the cold. How far is found by fitting that heat as the
// heat was.
//
// What a real house does and the models do not know: the loss changes with wind
// and with open windows, rooms differ, gains go with the weather, and people are
// away. An interval does not hold that; homes in use vary by some 10 % however
// long they are watched.
package heatloss

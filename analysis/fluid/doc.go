// Package fluid knows how water and glycol mixtures carry heat.
//
// Heat is V·rho(T at the meter)·(h(flow) - h(return)): the volume is counted
// where the flow sensor sits, so its density is taken there, and the enthalpy
// is taken at both pipes. One fixed heat capacity per litre instead, such as
// 1.163 kWh/(m³·K), is about 1 % high at 45/40 °C.
//
// Water follows IAPWS R7-97(2012) region 1 and IAPWS R12-08, at 16 bar as
// EN 1434-1 fixes it for heat meters. Glycol follows the ASHRAE Handbook
// Fundamentals 2001 when the concentration is by volume and Melinder,
// Properties of Secondary Working Fluids (IIR, 2010) when it is by mass. The
// two differ in rho·cp by up to 0.7 % for propylene glycol and 1.4 % for
// ethylene glycol (1.7 % at 10 %); UncertaintyRatio stands for that. It covers
// the mixture only: a flow sensor calibrated with water may itself misread
// glycol, since sound speed and Reynolds number differ. No correction is known
// well enough to make, so such heat is to be shown as uncertain.
//
// Nothing is extrapolated in silence. A concentration outside its source is an
// error. A temperature outside RangeC gives NaN from every method, and so does
// a NaN given: a reading of -40 °C from a water pipe is a broken sensor, and
// its heat is not known.
//
// Quantities carry their unit in their name; a Fluid never changes after it is
// made and may be shared.
package fluid

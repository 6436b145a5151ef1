// Package rig is a simulated heat pump installation with known truth: it
// proves every analysis, and it plays the demo.
//
// It is opinionated about where behaviour comes from: heat flows between a few
// heat capacities, water carries it round one loop, and a plain controller
// runs the machine. Short cycling, the sag of a defrost or a changeover's
// reversed temperatures are not drawn into the readings; they happen. A trouble
// changes the plant or its instruments, and shows for that reason.
//
// Contract: the same Plant and start give the same readings, however the time
// is cut into Advance calls. Truth is what happened, whatever the instruments
// saw of it; heat is what truly passes the positions of the flow and return
// sensors. The water here is not the water of the analysis: density and
// enthalpy come from a fit of their own (see water.go).
//
// The model, in energy flows of one step: machine -> hx -> (emitters -> house
// -> outdoors | coil -> cylinder) -> ret -> hx, with the flow sensor after hx
// and the return sensor after ret.
package rig

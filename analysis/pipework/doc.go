// Package pipework is the hydraulics of a heating system without separation:
// one pump, the heat pump's own, and every metre of pipe from there to the
// emitters and back.
//
// A System is a tree of legs, flow and return pipe together. Each consumer
// needs the flow that carries its load at its difference of flow and return; a
// leg carries what its consumers need. The way to the consumer with the
// greatest loss is the index circuit, and the verdict rests on it alone: the
// system runs without separation when the pump has at least that much head
// left at the total flow. Velocity and loss per metre are remarks beside it.
//
// Friction is Darcy-Weisbach with Colebrook and White's factor above a Reynolds
// number of 4000, 64/Re below 2300 and a straight blend of the two between;
// fittings are velocity heads (zeta) or a Kv. That is known to some 10 %
// (common practice, no source), which closeShare stands for.
//
// What is not known is not guessed: without a pump curve, or with a load
// missing, the verdict is "not known", beside what could be worked out. What had
// to be assumed for want of a figure is told in Result.Assumed.
package pipework

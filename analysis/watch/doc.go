// Package watch looks for what an engineer should know of a plant: rules over
// the readings of the last days, each giving findings with their beginning, their
// figures, likely causes and what to look at.
//
// Contract. A rule is a function of a Case, which holds what was known up to
// Now, and of nothing else: no clock, no memory. It returns every episode that it
// sees in the case, ended or not, whatever the case was looked at for. Since and
// Until follow from the readings, never from when the rule was asked. So it does
// not matter whether the rules run every minute on live readings, once a night, or
// once over months of history: Reconcile makes the same findings of them.
//
// Hysteresis is part of the rule: an episode opens when the condition has held for
// a time of readings that say something, and closes when it has been clear for
// such a time. What is not known changes nothing. Episodes says how.
//
// A slot is five minutes, and only slots that are over count: so a look makes sense
// once in a slot, and two looks in the same slot find the same. Whole slots are part
// of each rule's own window: a mean over less than one says little of a plant whose
// water takes minutes to go round, and what does not depend on when it was asked is
// worth more than five minutes. A slot is over when a reading from after it is there.
// From then a finding takes a look, which a service makes every half minute: 60 s at
// most from that reading, and five minutes more from the oldest reading of the slot.
//
// To add a rule: write a function of a Case in a file of its family, add a row
// with its name, what it looks at and its basis to the table in rules.go, and say
// in explanations which findings it explains, so that nothing is told twice. A
// change of flow takes over from low flow with its severity.
//
// A finding that a rule no longer sees has ended; one that later readings show to
// have been none, or to be another's effect, is withdrawn: its Until is its Since.
// Withdrawn findings stay in the store, since somebody may have been told.
//
// How soon and how falsely the rules tell is measured on a hundred simulated plants
// in analysis/job (watch_truth_test.go), and what a reading waits for
// (watch_latency_test.go). The troubles are listed in watch_sought_test.go, with what
// no rule can know.
package watch

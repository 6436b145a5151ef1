// Package review is the page an engineer reads after a plant's first cold week:
// each point of the hand-over with its state, its number, the limit it is held
// against and what to do next.
//
// A state is one of three. Good: it is known, and within its limit. Look at this:
// a finding of the week is about it, or its number is beyond its limit. Not known
// yet: the record or the readings do not say, and the point says what is missing;
// nothing is good because nobody looked.
//
// Limits are those of the rules in analysis/watch and of the analyses whose figures
// they bound; there is no second copy of any here. A finding of the week decides over
// a number, since rules look closely and with patience. Where readings are in doubt,
// what stands on them is not known yet.
package review

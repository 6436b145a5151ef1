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
//
// `coldweek review --json` has these keys (null where not known; times RFC 3339; to
// exclusive):
//
//	site, name, from, to, chosen (how the days came to be these), coverage (0..1)
//	outdoors       mean_c, coldest_day, coldest_day_c, coldest_hour_c, design_c
//	counts         good, look_at_this, not_known_yet
//	points[]       id, name, state, value, low, high (95 %), unit, decimals,
//	               limit{text, low, high, basis, source}, says, next[], caution, findings[]
//	coldest_night  from, to, outdoor_c, design_c, heat_kw, full_kw, full_basis, share_of_full,
//	               flow_c, room_c, backup_kwh, beyond_k, needed_at_design_kw, full_at_design_kw
//	findings[]     id, kind, severity, since, until (null: open at the end), title
//
// A limit's basis is maker, design, setting, published or common_practice.
package review

// Package dispatch makes drafts of last month's notes when their time has come, and
// sends what was released.
//
// A draft is made once the month is over and its readings are complete enough, or
// late enough that no more are to be expected. It goes out when the engineer has
// released it; where the site record says at_once it goes by itself, but only if
// the month was measured well: what is thin is for the engineer to judge.
//
// The engineers of its sites are told of a month's drafts in one letter, when all
// are made or a day after they should have been; that one names those to come. What
// is released before needs no letter.
//
// What is to be sent stands in the archive, so a restart loses nothing. A letter
// counts as sent when the mail server has taken it and that is on disk; if all
// ends between the two it is sent again, under the same Message-ID, which is the
// best that SMTP allows (RFC 1047).
package dispatch

// Package capacity holds what a machine can give against what its house needs:
// at the design outdoor temperature, and where the two lines cross, the balance
// point below which something else must help.
//
// What a machine can give shows only while it gives it. A machine that modulates
// tells nothing about its greatest output in mild weather, so hours count as
// full output only with a sign of it: output as in its laboratory points, water
// that stays below the target, a backup heater at work, or power that no longer
// rises as it gets colder. Without any, the laboratory speaks alone, and without
// laboratory points the answer is "not known".
//
// Output is that of settled heating between defrosts, the backup heater's part
// taken out, as test points state it; what defrosts take off is told beside it.
// All figures are of hours with at least twenty settled minutes.
//
// The limits are common practice without a source unless one is named.
package capacity

import "coldweek/analysis/robust"

const (
	// binK is the width of the rows of a report.
	binK = 2
	// minSettledS of an hour make a mean worth having.
	minSettledS = 1200
	// throughoutShare of an hour running is running without a stop.
	throughoutShare = 0.97
	// fullRatio of the greatest output is full output.
	fullRatio = 0.95
	// minFullHours make full output shown, not a chance.
	minFullHours = 4
	// mostBeyondK is how far what was measured may be drawn on, with a remark.
	mostBeyondK = 10
	// mostBeyondFlowK is that for the flow temperature, of which output depends
	// little.
	mostBeyondFlowK = 15
	// beyondRatioPerK widens an interval for each kelvin drawn on.
	beyondRatioPerK = 0.01
	// leastRatio is the least half interval of a capacity: heat meters are no better.
	leastRatio = 0.05
)

// Need is the mean heat the house takes from the plant at an outdoor
// temperature, in W, without hot water; false where that is not known.
type Need func(outdoorC float64) (robust.Estimate, bool)

package watch

import "time"

// Sign is what a piece of time says of a condition.
type Sign int8

// The signs.
const (
	Unclear Sign = iota // not known: changes nothing
	Clear
	Bad
)

// Hold is the hysteresis of a condition, in seconds of time that says something.
type Hold struct{ OpenS, CloseS float64 }

// Piece is a piece of time: a slot, a run, a day.
type Piece struct {
	From, To time.Time
	S        float64 // of it that say something
	Sign     Sign
}

// Episode is a time in which a condition held.
type Episode struct {
	Since, Until time.Time // Until is zero while it lasts
	First, Last  int       // pieces First <= i < Last, from the first bad to the last bad
}

// Ended says whether it is over.
func (e Episode) Ended() bool { return !e.Until.IsZero() }

// Episodes finds the times in which a condition held, among pieces in order of
// time. An episode opens when bad time has outweighed clear time by OpenS; it began
// with the first of that bad time. It closes when clear time has outweighed bad
// time by CloseS; it ended with the last bad piece.
func (h Hold) Episodes(pieces []Piece) []Episode {
	var found []Episode
	open, first, weighS, last := false, 0, 0.0, 0
	for i, p := range pieces {
		switch {
		case p.Sign == Unclear || p.S <= 0:
			continue
		case p.Sign == Bad && !open:
			if weighS == 0 {
				first = i
			}
			weighS, last = weighS+p.S, i
			if weighS >= h.OpenS {
				found = append(found, Episode{Since: pieces[first].From, First: first})
				open, weighS = true, 0
			}
		case p.Sign == Clear && !open:
			weighS = max(0, weighS-p.S)
		case p.Sign == Bad:
			weighS, last = max(0, weighS-p.S), i
		default:
			weighS += p.S
			if weighS >= h.CloseS {
				found[len(found)-1].Until = pieces[last].To
				open, weighS = false, 0
			}
		}
		if open {
			found[len(found)-1].Last = last + 1
		}
	}
	return found
}

// bridge joins episodes that lie closer together than the gap; the last lasts
// until the gap has gone by.
func bridge(all []Episode, gap time.Duration, now time.Time) []Episode {
	var joined []Episode
	for _, e := range all {
		if k := len(joined) - 1; k >= 0 && e.Since.Sub(joined[k].Until) < gap {
			joined[k].Until, joined[k].Last = e.Until, e.Last
			continue
		}
		joined = append(joined, e)
	}
	if k := len(joined) - 1; k >= 0 && joined[k].Ended() && now.Sub(joined[k].Until) < gap {
		joined[k].Until = time.Time{}
	}
	return joined
}

// closed ends each episode with its last bad piece, for bridge to say whether the
// last one lasts: events that come no more have ended, whatever is not known.
func closed(all []Episode, pieces []Piece) []Episode {
	for i, e := range all {
		all[i].Until = pieces[e.Last-1].To
	}
	return all
}

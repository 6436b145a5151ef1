package store

import (
	"fmt"
	"time"
)

// Attitude is what engineers' actions amount to for one finding.
type Attitude struct {
	Acknowledged   bool
	AcknowledgedBy string // who did so first
	Muted          bool
	MutedUntil     time.Time // zero for good
	Last           *Action   // the one that says so, or the last remark
}

// AttitudeTo goes through a site's actions, in the order of their times, up to
// now. An acknowledgement is of a finding that had begun; a mute is of the kind.
func AttitudeTo(kind string, since time.Time, actions []Action, now time.Time) Attitude {
	var t Attitude
	for i := range actions {
		a := &actions[i]
		if a.Kind != kind || a.At.After(now) {
			continue
		}
		switch a.Deed {
		case Acknowledge:
			if a.At.Before(since) {
				continue
			}
			if !t.Acknowledged {
				t.Acknowledged, t.AcknowledgedBy = true, a.By
			}
		case Mute:
			t.Muted, t.MutedUntil = a.Until.IsZero() || a.Until.After(now), a.Until
		case Unmute:
			t.Muted = false
		}
		t.Last = a
	}
	return t
}

// Words says it in a few, beginning with "; ", or "" when nothing was done.
func (t Attitude) Words(zone *time.Location) string {
	words := ""
	switch {
	case t.Muted && t.MutedUntil.IsZero():
		words = "; muted"
	case t.Muted:
		words = "; muted until " + t.MutedUntil.In(zone).Format("2 Jan 2006 15:04")
	case t.Acknowledged:
		words = "; acknowledged"
	case t.Last == nil:
		return ""
	}
	if t.Last.By != "" {
		words += " by " + t.Last.By
	}
	if t.Last.Note != "" {
		words += fmt.Sprintf(" (%s)", t.Last.Note)
	}
	return words
}

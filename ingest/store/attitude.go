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

// Words says it in a few, beginning with "; ", or "" when nothing was done that
// still matters.
func (t Attitude) Words(zone *time.Location) string {
	switch at := func(when time.Time) string { return when.In(zone).Format("2 Jan 2006 15:04") }; {
	case t.Muted && t.MutedUntil.IsZero():
		return "; muted" + t.whoAndWhy(Mute, "")
	case t.Muted:
		return "; muted until " + at(t.MutedUntil) + t.whoAndWhy(Mute, "")
	case t.Acknowledged:
		return "; acknowledged" + t.whoAndWhy(Acknowledge, t.AcknowledgedBy)
	case t.Last != nil && t.Last.Deed == Mute:
		return "; its mute ended " + at(t.MutedUntil)
	case t.Last != nil && t.Last.Deed == Remark:
		return "; remarked on" + t.whoAndWhy(Remark, "")
	}
	return ""
}

// whoAndWhy is who did the deed and their note, if it was the last one.
func (t Attitude) whoAndWhy(deed Deed, by string) (words string) {
	note := ""
	if t.Last != nil && t.Last.Deed == deed {
		by, note = t.Last.By, t.Last.Note
	}
	if by != "" {
		words = " by " + by
	}
	if note != "" {
		words += fmt.Sprintf(" (%s)", note)
	}
	return words
}

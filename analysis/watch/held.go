package watch

import (
	"slices"
	"strings"
	"time"

	"coldweek/analysis/cycling"
)

// The limits of the rules, for those who hold a whole span of time against them.
// What each stands on is said where the rule is.
const (
	LeastOfDesign      = leastOfDesign // of the design flow
	HighCurveK         = highK         // above, or below, the set curve
	RoomShortK         = roomShortK    // below its set temperature
	ColderThanDesign   = designSlots * SlotLength
	LongDefrostMinutes = longMinutes
	FrostFreeC         = mildC // outdoors, no frost forms
	LongChargeMinutes  = longChargeS / 60
	WeakChargeShare    = weakShare // of the rated heat
	CylinderShortK     = shortOfK  // below the target
	HygieneNearK       = hygieneNearK
	BackupMildHours    = backupOpenS / 3600
)

// ShortRun is the length below which heating runs that follow each other are short.
func (l *Limits) ShortRun() time.Duration { return time.Duration(shortTimes * float64(l.shortRun())) }

func (l *Limits) shortRun() time.Duration {
	if l.Plant.ShortRun == 0 {
		return cycling.DefaultShortRun
	}
	return l.Plant.ShortRun
}

// HygieneInterval is how often the cylinder is to be heated through.
func (l *Limits) HygieneInterval() time.Duration {
	if d := l.HygieneDays; d != nil {
		return time.Duration(*d * float64(day))
	}
	return usualHygieneDays * day
}

// Explains says whether findings of one kind are why there may be another's.
func Explains(cause, effect string) bool {
	for _, e := range explanations {
		if strings.HasPrefix(cause, e.cause) && slices.ContainsFunc(e.effects, func(name string) bool { return strings.HasPrefix(effect, name) }) {
			return true
		}
	}
	return false
}

package flowrate

import (
	"coldweek/analysis/siteday"
)

const (
	secondsPerHour = 3600
	hoursPerDay    = 24
	joulePerKWh    = 3.6e6
	// minRestS of rest show what the plant takes without its pump.
	minRestS = 3600
)

// PumpUse is the circulation pump at work while the compressor rests, on a
// mean day. Idle is beyond overrun and what may be frost protection; a plant
// that waits for its water to cool circulates it too, so some is usual.
type PumpUse struct {
	OverrunHours, FrostHours, IdleHours float64
	IdleKWh                             *float64 // the pump's electricity in IdleHours
	OwnMeter                            bool     // IdleKWh is of the pump's own meter, else of the site's above its rest
}

// pumpUse returns nil when it is not known what the plant did.
func pumpUse(days []siteday.Day) *PumpUse {
	var sums siteday.Sums
	for i := range days {
		// The rest of a year's days would only be copied.
		sums.Add(&siteday.Sums{SecondsS: days[i].Sums.SecondsS, Pump: days[i].Sums.Pump})
	}
	knownDays := sums.KnownS() / (hoursPerDay * secondsPerHour)
	if knownDays == 0 {
		return nil
	}
	p := sums.Pump
	use := &PumpUse{
		OverrunHours: p.OverrunS / secondsPerHour / knownDays, FrostHours: p.FrostS / secondsPerHour / knownDays,
		IdleHours: p.IdleS / secondsPerHour / knownDays,
	}
	var powerW float64
	switch {
	case p.OwnIdleS > 0:
		powerW, use.OwnMeter = p.OwnIdleJ/p.OwnIdleS, true
	case p.IdleCoveredS > 0 && p.RestCoveredS >= minRestS:
		powerW = max(p.IdleJ/p.IdleCoveredS-p.RestJ/p.RestCoveredS, 0)
	default:
		return use
	}
	kWh := powerW * use.IdleHours * secondsPerHour / joulePerKWh
	use.IdleKWh = &kWh
	return use
}

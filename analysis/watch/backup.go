package watch

import (
	"fmt"
	"math"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// A backup heater is released some kelvin above the design temperature; weather
	// aboveDesignK above it, and never below leastMildC, is mild; mildUnknownC where
	// the design is not known (common practice, no source).
	aboveDesignK, leastMildC, mildUnknownC = 8, 0, 3
	// backupOpenS of backup more than of heating without it open the finding: an
	// immersion heater's weekly run is shorter. backupCloseS of heating without close it.
	backupOpenS, backupCloseS = 2 * 3600, 12 * 3600
	// Of the running hours of a day that is not that cold, more than muchBackup are
	// many, fewer than littleBackup few (common practice, no source).
	muchBackup, littleBackup, notThatColdK = 0.2, 0.1, 4
	backupDays                             = 3
	// leastRunS of a day tell its share.
	leastRunS   = 4 * 3600
	joulePerKWh = 3.6e6
	// cylinderWarmsK in two slots is more than a sensor's noise.
	cylinderWarmsK = 0.4
)

// backupRunning tells of a backup heater that helps in mild weather, or for many of
// the hours.
func backupRunning(c *Case) []Finding {
	pieces := make([]Piece, len(c.Slots))
	for i := range c.Slots {
		pieces[i] = c.backupPiece(i)
	}
	var found []Finding
	for _, e := range (Hold{backupOpenS, backupCloseS}).Episodes(pieces) {
		found = append(found, c.backupMild(e))
	}
	if len(found) > 0 {
		return found // the clearer of the two
	}
	return c.backupOften()
}

// MildC is the outdoor temperature from which weather is mild.
func (l *Limits) MildC() float64 {
	if l.DesignOutdoorC == nil {
		return mildUnknownC
	}
	return max(leastMildC, *l.DesignOutdoorC+aboveDesignK)
}

// backupPiece says whether the backup heater helped in mild weather. A cylinder
// being heated is no business of this rule.
func (c *Case) backupPiece(i int) Piece {
	s := &c.Slots[i]
	p := Piece{From: s.From, To: s.To()}
	outdoorC, known := s.Outdoor.Of()
	heatingS := s.SecondsS[operation.Heating] + s.SecondsS[operation.Defrost]
	switch {
	case !known || s.SecondsS[operation.HotWater] > 0 || s.BackupS > 0 && c.cylinderWarms(i):
	case s.BackupS > 0 && outdoorC >= c.Limits.MildC():
		p.Sign, p.S = Bad, s.BackupS
	case s.BackupS == 0 && heatingS > 0:
		p.Sign, p.S = Clear, heatingS
	}
	return p
}

// cylinderWarms says whether the cylinder gets warmer about slot i, as by an
// immersion heater.
func (c *Case) cylinderWarms(i int) bool {
	first, last := max(0, i-1), min(len(c.Slots)-1, i+1)
	beforeC, before := c.Slots[first].Cylinder.Of()
	afterC, after := c.Slots[last].Cylinder.Of()
	return before && after && afterC-beforeC >= cylinderWarmsK
}

func (c *Case) backupMild(e Episode) Finding {
	var outdoor siteday.Mean
	backupS, backupJ := 0.0, 0.0
	for i := e.First; i < e.Last; i++ {
		if s := &c.Slots[i]; s.BackupS > 0 && s.SecondsS[operation.HotWater] == 0 {
			outdoor, backupS, backupJ = outdoor.Plus(s.Outdoor), backupS+s.BackupS, backupJ+s.BackupJ
		}
	}
	outdoorC, _ := outdoor.Of()
	return Finding{
		Kind: "backup_running", Severity: Attention, Since: e.Since, Until: e.Until,
		Title: fmt.Sprintf("The backup heater ran for %.1f hours in mild weather, %.0f °C outdoors", backupS/3600, outdoorC),
		Evidence: []Figure{{"backup_h", backupS / 3600, "h", 1}, {"backup_kwh", backupJ / joulePerKWh, "kWh", 1}, {"outdoor_c", outdoorC, "°C", 1},
			{"mild_from_c", c.Limits.MildC(), "°C", 0}},
		Causes: []string{
			"it is released up to too high an outdoor temperature",
			"emergency or auxiliary heating was left switched on",
			"the machine is locked out and the heater does its work",
			"it is released too soon after a start, a defrost or a rise of the target",
		},
		Next: []string{
			"read the outdoor temperature and the delay that release it in the controller",
			"see whether emergency heating is on, and why: read the fault memory",
			"compare the machine's heat output with its data sheet before locking the heater out",
		},
		Caution: backupCaution,
	}
}

const backupCaution = "The heater and its terminals are live at mains voltage: isolate before opening; licensed people only, as local rules say. Do not lock it out where it protects from frost or keeps the hot water hygienic."

// backupOften tells of days on which the backup heater helped for many of the
// running hours, though it was well above the design temperature.
func (c *Case) backupOften() []Finding {
	whole := c.WholeDays()
	pieces := make([]Piece, len(whole))
	for i := range whole {
		pieces[i] = c.backupDay(&whole[i])
	}
	var found []Finding
	for _, e := range (Hold{backupDays, backupDays}).Episodes(pieces) {
		found = append(found, backupOftenFinding(whole[e.First:e.Last], e))
	}
	return found
}

func (c *Case) backupDay(d *siteday.Day) Piece {
	p := Piece{From: d.From, To: d.To}
	s := &d.Sums
	outdoorC, known := s.Outdoor.Of()
	runS := s.RunS()
	if !known || s.BackupKnownS < 0.8*s.SpanS || runS < leastRunS {
		return p
	}
	p.S = 1
	switch share := s.BackupS / runS; {
	case share > muchBackup && c.Limits.DesignOutdoorC != nil && outdoorC > *c.Limits.DesignOutdoorC+notThatColdK:
		p.Sign = Bad
	case share < littleBackup:
		p.Sign = Clear
	}
	return p
}

func backupOftenFinding(days []siteday.Day, e Episode) Finding {
	var outdoor siteday.Mean
	backupS, backupJ, runS := 0.0, 0.0, 0.0
	for i := range days {
		s := &days[i].Sums
		outdoor, backupS, backupJ, runS = outdoor.Plus(s.Outdoor), backupS+s.BackupS, backupJ+s.BackupJ, runS+s.RunS()
	}
	outdoorC, _ := outdoor.Of()
	pct := 100 * backupS / runS
	return Finding{
		Kind: "backup_running", Severity: Attention, Since: e.Since, Until: e.Until,
		Title: fmt.Sprintf("The backup heater helps in %.0f %% of the running hours, at %.0f °C outdoors", pct, math.Round(outdoorC)),
		Evidence: []Figure{{"share_of_running_pct", pct, "%", 0}, {"backup_h", backupS / 3600, "h", 0}, {"backup_kwh", backupJ / joulePerKWh, "kWh", 0},
			{"outdoor_c", outdoorC, "°C", 1}},
		Causes: []string{
			"it is released up to too high an outdoor temperature, or too soon",
			"the machine gives less than it should, or the house takes more than it was sized for",
			"a curve so high that the machine cannot reach it",
		},
		Next: []string{
			"compare the machine's heat output with its data sheet at this outdoor temperature",
			"compare the house's heat loss as measured with the design",
			"read the outdoor temperature and the delay that release the heater",
		},
		Caution: backupCaution,
	}
}

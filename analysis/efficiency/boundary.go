package efficiency

import (
	"slices"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// Boundary is what of a plant counts in its SPF, as SEPEMO-Build draws the
// lines: H1 the heat pump alone, H2 with its source (an air unit's fan), H3
// with backup and immersion heaters, H4 with the circulation pump too.
type Boundary string

// The boundaries, each within the next.
const (
	H1 Boundary = "H1"
	H2 Boundary = "H2"
	H3 Boundary = "H3"
	H4 Boundary = "H4"
)

// Energies are a plant's, of one span. Resistance heat counts as heat in full,
// the pump's as none.
type Energies struct {
	HeatPumpJ  float64 // by the heat pump: without the heat of the heaters
	TotalJ     float64 // electricity of everything
	PumpJ      float64 // circulation
	BackupJ    float64 // heater in the circuit
	ImmersionJ float64 // heater in the cylinder
}

// At returns heat and electricity within H2, H3 or H4:
//
//	H2 = Q / (E - pump - immersion - backup)
//	H3 = (Q + backup + immersion) / (E - pump)
//	H4 = (Q + backup + immersion) / E
//
// H1 is H2 of a total without the fan.
func (e Energies) At(b Boundary) (heatJ, electricityJ float64) {
	heatersJ := e.BackupJ + e.ImmersionJ
	switch b {
	case H4:
		return e.HeatPumpJ + heatersJ, e.TotalJ
	case H3:
		return e.HeatPumpJ + heatersJ, e.TotalJ - e.PumpJ
	}
	return e.HeatPumpJ, e.TotalJ - e.PumpJ - heatersJ
}

// Meters says what a site's electricity meter sees beside compressor and
// controls, and which heat its heat meter sees.
type Meters struct {
	Fan, Pump, Backup, Immersion bool
	// HeatAfterBackup: the backup heater's heat is in the metered heat.
	HeatAfterBackup bool
	Stated          bool // false: nothing is known of the meter, which is taken to see everything
}

// MetersOf reads the words of a site record; none means that nothing is stated.
func MetersOf(covers []string, heatAfterBackup bool) Meters {
	if len(covers) == 0 {
		return Meters{Fan: true, Pump: true, Backup: true, HeatAfterBackup: heatAfterBackup}
	}
	sees := func(part string) bool { return slices.Contains(covers, part) }
	return Meters{
		Fan: sees("fan"), Pump: sees("circulation_pump"), Backup: sees("backup_heater"), Immersion: sees("immersion_heater"),
		HeatAfterBackup: heatAfterBackup, Stated: true,
	}
}

// Boundary names the widest boundary whose every part the meter sees.
func (m Meters) Boundary() Boundary {
	switch {
	case m.Pump:
		return H4
	case m.Backup || m.Immersion:
		return H3
	case m.Fan:
		return H2
	}
	return H1
}

// Measured returns heat and electricity within the meter's own boundary. A
// heater on another meter is added where it has a meter of its own.
func (m Meters) Measured(s *siteday.Sums) (heatJ, electricityJ float64) {
	return m.split(s).energies.At(m.Boundary())
}

// split is what of a plant's energies could be told apart.
type split struct {
	energies                Energies
	meters                  Meters
	pumpKnown, heatersKnown bool
	assumed                 []string
}

// split takes the meters apart. Energies of what is not known are 0.
func (m Meters) split(s *siteday.Sums) split {
	p := split{meters: m}
	e := &p.energies
	e.TotalJ = s.ElectricityJ.Total()
	e.HeatPumpJ = s.HeatJ[operation.Heating] + s.HeatJ[operation.HotWater] + s.HeatJ[operation.Defrost]
	if p.heatersKnown = s.BackupKnownS > 0 && s.BackupKnownS >= minKnown*s.CoveredS; p.heatersKnown {
		m.heaters(e, s)
	}
	if p.pumpKnown = s.Pump.OwnKnownS > 0 && s.Pump.OwnKnownS >= minKnown*s.CoveredS; p.pumpKnown {
		e.PumpJ = s.Pump.OwnJ * s.CoveredS / s.Pump.OwnKnownS
		if !m.Pump {
			e.TotalJ += e.PumpJ
		}
	}
	p.assume(s)
	return p
}

// heaters adds what the heaters' own meter counted. One meter counts both: a
// heater that works while the heat pump charges the cylinder or stands is the
// cylinder's, if the plant has such a one.
func (m Meters) heaters(e *Energies, s *siteday.Sums) {
	scale := s.CoveredS / s.BackupKnownS
	e.BackupJ = s.BackupJ * scale
	inHeatJ := (s.BackupInJ[operation.Heating] + s.BackupInJ[operation.Defrost] + s.BackupInJ[operation.HotWater]) * scale
	switch {
	case m.Immersion && m.Backup:
		inHeatJ = (s.BackupInJ[operation.Heating] + s.BackupInJ[operation.Defrost]) * scale
		e.ImmersionJ = e.BackupJ - inHeatJ
		e.BackupJ = inHeatJ
	case m.Immersion:
		e.ImmersionJ, e.BackupJ, inHeatJ = e.BackupJ, 0, 0
	}
	if m.HeatAfterBackup {
		e.HeatPumpJ -= inHeatJ
	}
	if m.Stated && !m.Backup && !m.Immersion {
		e.TotalJ += e.BackupJ
	}
}

// at returns the SPF at a boundary, false where a meter for it is missing.
func (p split) at(b Boundary) (float64, bool) {
	m := p.meters
	heaters := m.Backup || m.Immersion
	told := (p.pumpKnown || !m.Pump) && (p.heatersKnown || m.Stated && !heaters)
	known := false
	switch b {
	case H1:
		known = told && !m.Fan
	case H2:
		known = told && m.Fan
	case H3:
		known = m.Fan && (p.pumpKnown || !m.Pump) && (p.heatersKnown || heaters || m.Stated)
	case H4:
		known = m.Fan && (m.Pump || p.pumpKnown)
	}
	heatJ, electricityJ := p.energies.At(b)
	if spf := ratio(heatJ, electricityJ); spf != nil && known {
		return *spf, true
	}
	return 0, false
}

// assume says what could not be told apart and how it was taken.
func (p *split) assume(s *siteday.Sums) {
	m := p.meters
	say := func(text string) { p.assumed = append(p.assumed, text) }
	if !m.Stated {
		say("the electricity meter covers the whole plant (metering: electricity_covers is not given)")
	}
	switch {
	case p.heatersKnown || !m.Stated:
	case m.Backup && !m.HeatAfterBackup:
		say("no heat from the backup heater: neither the heat meter nor a meter of its own sees it, so what it gave is missing from the SPF")
	case !m.Backup && !m.Immersion:
		say("no backup or immersion heater runs beside the electricity meter")
	}
	if s.BackupKnownS > 0 && !p.heatersKnown {
		say("backup_power was known for too little of the time and is left out")
	}
}

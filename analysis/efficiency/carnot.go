package efficiency

import (
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

// kelvinAt0C is the thermodynamic temperature of 0 °C (exact).
const kelvinAt0C = 273.15

// CarnotCOP is what no machine can exceed that takes its heat from the outdoor
// air and gives it at the flow temperature; both must differ.
func CarnotCOP(outdoorC, flowC float64) float64 {
	return (flowC + kelvinAt0C) / (flowC - outdoorC)
}

// ShareOfCarnot is a COP by Carnot's.
func ShareOfCarnot(cop, outdoorC, flowC float64) float64 {
	return cop / CarnotCOP(outdoorC, flowC)
}

// Judgement says whether a share of Carnot can be right.
type Judgement string

// The judgements. Air source machines lie at 0.35 to 0.55 (common practice, no
// source), and of 9,319 certified ones (Heat Pump Keymark, as collected in
// FZJ-IEK3-VSA/hplib) 1 in 2,000 leaves 0.25 to 0.60. Only below smallLift does
// the share fall by nature: 4 % of them are below 0.25 at 12 °C outdoors and
// 24 °C flow.
const (
	Plausible Judgement = "plausible"
	TooHigh   Judgement = "too high" // suspect the meters
	TooLow    Judgement = "too low"  // a fault, constant cycling, or a meter that sees more than the plant
)

const (
	highestShare, lowestShare = 0.60, 0.25
	// smallLift is the ideal work by heat at a lift of some 20 K.
	smallLift = 1.0 / 15
)

// Judge judges a share of Carnot; liftRatio is Carnot's work by heat, the lift
// by the flow temperature in kelvin.
func Judge(share, liftRatio float64) Judgement {
	switch {
	case share > highestShare:
		return TooHigh
	case share < lowestShare && liftRatio >= smallLift:
		return TooLow
	}
	return Plausible
}

// Share is a share of Carnot over a span: the work that an ideal machine had
// needed for the same heat, each moment at its own temperatures, by the
// electricity that was taken.
type Share struct {
	Value         float64
	Judgement     Judgement
	HeatKWh       float64 // that it stands on
	WithHeater    bool    // a heater's electricity could not be told apart and is in it
	WithWaterPump bool    // the circulation pump is on the meter and so in it
}

// work is an ideal machine's and the real one's, heaters taken out.
type work struct{ idealJ, electricityJ, heatJ float64 }

func (w work) plus(o work) work {
	return work{w.idealJ + o.idealJ, w.electricityJ + o.electricityJ, w.heatJ + o.heatJ}
}

// machine takes the backup heater out of what was metered in one state.
func (m Meters) machine(idealJ, electricityJ, heatJ, backupJ float64) work {
	w := work{idealJ, electricityJ, heatJ}
	if m.HeatAfterBackup && heatJ > 0 {
		left := max(heatJ-backupJ, 0) / heatJ
		w.idealJ, w.heatJ = idealJ*left, heatJ*left
	}
	if m.Backup || m.Immersion {
		w.electricityJ -= backupJ
	}
	return w
}

// shareOf returns nil with too little heat or unknown temperatures.
func (m Meters) shareOf(s *siteday.Sums, state operation.State) *Share {
	w := m.machine(s.IdealJ[state], s.IdealCoveredJ[state], s.HeatJ[state], s.BackupInJ[state])
	value := w.share()
	if value == nil {
		return nil
	}
	return &Share{
		Value: *value, Judgement: Judge(*value, w.idealJ/w.heatJ), HeatKWh: w.heatJ / joulePerKWh,
		WithHeater: m.Stated && (m.Backup || m.Immersion) && s.BackupKnownS < minKnown*s.CoveredS, WithWaterPump: m.Pump,
	}
}

// share returns nil with too little heat to tell.
func (w work) share() *float64 {
	if w.heatJ < minHeatJ || w.electricityJ <= 0 || w.idealJ <= 0 {
		return nil
	}
	v := w.idealJ / w.electricityJ
	return &v
}

package capacity

import (
	"fmt"
	"math"

	"coldweek/analysis/robust"
)

// Balance is the outdoor temperature below which the machine alone no longer
// keeps up with the house. LowC is as the doubt of both lines allows at best,
// HighC at worst.
type Balance struct {
	OutdoorC, LowC, HighC float64
	// BelowC: the lines were followed no further than this and do not cross
	// before; the other figures are then NaN.
	BelowC *float64
}

// Verdict is whether a machine is large enough.
type Verdict string

// The verdicts.
const (
	NotKnown  Verdict = "not known"
	Enough    Verdict = "enough"
	Short     Verdict = "too small"
	Close     Verdict = "close"
	Oversized Verdict = "much larger than the house"
)

// oversizedRatio of output to need is much (common practice, no source).
const oversizedRatio = 1.5

// atDesign fills in the figures at the design temperature.
func (r *Report) atDesign(p Plant, l *line, need Need) {
	if p.DesignC == nil {
		return
	}
	if l != nil {
		if at, ok := l.estimate(*p.DesignC); ok {
			_, beyondK, _ := l.at(*p.DesignC)
			r.AtDesign, r.BeyondK = &at, max(beyondK, l.unseenK(*p.DesignC))
		}
	}
	if need != nil {
		if needed, ok := need(*p.DesignC); ok {
			r.NeededAtDesign = &needed
		}
	}
	if r.AtDesign != nil && r.NeededAtDesign != nil && r.NeededAtDesign.Value > 0 {
		left := r.SustainedRatio * (1 - r.HotWaterShare)
		worst, best := r.AtDesign.Low*left/r.NeededAtDesign.High, math.Inf(1)
		if r.NeededAtDesign.Low > 0 {
			best = r.AtDesign.High * left / r.NeededAtDesign.Low
		}
		r.InHandRatio = &robust.Estimate{Value: r.AtDesign.Value * left / r.NeededAtDesign.Value, Low: worst, High: best}
	}
}

// Outdoor temperatures in which lines are followed, and how finely.
const (
	warmestC, coldestC, stepK = 20.0, -35.0, 0.05
)

// balance looks for where the lines cross, going down from mild weather.
func (r *Report) balance(l *line, need Need) {
	if l == nil || need == nil {
		return
	}
	left := r.SustainedRatio * (1 - r.HotWaterShare)
	b := Balance{OutdoorC: math.NaN(), LowC: math.NaN(), HighC: math.NaN()}
	downToC := math.NaN()
	for c := warmestC; c >= coldestC; c -= stepK {
		can, known := l.estimate(c)
		wants, wanted := need(c)
		if !known || !wanted {
			if !math.IsNaN(downToC) {
				break
			}
			continue
		}
		downToC = c
		crossed(&b.OutdoorC, c, can.Value*left < wants.Value)
		crossed(&b.LowC, c, can.High*left < wants.Low)
		crossed(&b.HighC, c, can.Low*left < wants.High)
		if !math.IsNaN(b.OutdoorC + b.LowC + b.HighC) {
			break
		}
	}
	if math.IsNaN(downToC) {
		return
	}
	if math.IsNaN(b.OutdoorC) {
		b.BelowC = &downToC
	}
	r.Balance = &b
}

// crossed notes where lines cross for the first time.
func crossed(atC *float64, c float64, short bool) {
	if short && math.IsNaN(*atC) {
		*atC = c + stepK/2
	}
}

// judge says whether the machine is large enough, and why that is thought.
func (r *Report) judge(p Plant) {
	r.Verdict = NotKnown
	switch {
	case p.DesignC == nil:
		r.Why = "the record has no design outdoor temperature"
	case r.Basis == Unknown:
		r.Why = "the machine was not seen at full output, and the record has no laboratory points"
	case r.AtDesign == nil:
		r.Why = fmt.Sprintf("%g °C lies too far from what was measured", *p.DesignC)
	case r.NeededAtDesign == nil:
		r.Why = "what the house needs there is not known yet"
	default:
		r.judgeInHand(*p.DesignC)
	}
}

func (r *Report) judgeInHand(designC float64) {
	hand := r.InHandRatio
	if hand == nil {
		r.Verdict, r.Why = Enough, fmt.Sprintf("at %g °C the house needs no heat", designC)
		return
	}
	switch {
	case hand.High < 1:
		r.Verdict = Short
	case hand.Low < 1:
		r.Verdict = Close
	case hand.Low > oversizedRatio:
		r.Verdict = Oversized
	default:
		r.Verdict = Enough
	}
	r.Why = fmt.Sprintf("with its defrosts and beside hot water it can give %.2f times what the house needs at %g °C (%.2f to %.2f)",
		hand.Value, designC, hand.Low, hand.High)
	if r.Basis == Laboratory {
		r.Why += "; that is the laboratory's word, full output was not reached"
	}
}

package season

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// seenS of heating at an outdoor temperature make its own efficiency.
	seenS = 5 * secondsPerHour
	// leastSpanK of seen temperatures carry a line (common practice, no source).
	leastSpanK = 5
	// mostBeyondK is how far beyond what was seen the lines are drawn on.
	mostBeyondK = 10
	// leastLiftRatio keeps the lift, by the flow temperature in kelvin, from
	// nothing: some 6 K.
	leastLiftRatio = 0.02
)

// Performance is how much heat a plant makes of its electricity in space heating,
// with its defrosts and as it is metered, by outdoor temperature.
//
// Where it heated for some hours its own ratio is taken, elsewhere a line. The
// line is that of its share of Carnot and of the lift, which bend less than a
// COP; where flow temperatures are not known, there is none.
type Performance struct {
	bins        map[int]heating
	LowC, HighC float64 // outdoor, where it was seen
	lines       bool
	share, lift line
}

// line is a straight one through weighted points.
type line struct{ alpha, beta float64 }

func (l line) at(x float64) float64 { return l.alpha + l.beta*x }

// heating is what one kelvin of outdoor temperature saw.
type heating struct {
	s, heatJ, electricityJ    float64 // with defrosts
	plainHeatJ, plainJ        float64 // without
	idealJ, idealElectricityJ float64 // where temperatures were known
}

func (h heating) plus(o heating) heating {
	return heating{h.s + o.s, h.heatJ + o.heatJ, h.electricityJ + o.electricityJ, h.plainHeatJ + o.plainHeatJ, h.plainJ + o.plainJ,
		h.idealJ + o.idealJ, h.idealElectricityJ + o.idealElectricityJ}
}

func (h heating) cop() float64 { return h.heatJ / h.electricityJ }

// liftRatio is the lift by the flow temperature in kelvin, NaN where it is not
// known.
func (h heating) liftRatio() float64 {
	const known = 0.9
	if h.plainHeatJ <= 0 || h.idealJ <= 0 || h.idealElectricityJ < known*h.plainJ {
		return math.NaN()
	}
	return h.idealJ / h.plainHeatJ
}

func heatingIn(b *siteday.Bin) heating {
	return heating{
		s:            b.CoveredS[operation.Heating] + b.CoveredS[operation.Defrost],
		heatJ:        b.HeatJ[operation.Heating] + b.HeatJ[operation.Defrost],
		electricityJ: b.ElectricityJ[operation.Heating] + b.ElectricityJ[operation.Defrost],
		plainHeatJ:   b.HeatJ[operation.Heating], plainJ: b.ElectricityJ[operation.Heating],
		idealJ: b.IdealJ[operation.Heating], idealElectricityJ: b.IdealCoveredJ[operation.Heating],
	}
}

// PerformanceOf returns false when the plant hardly heated.
func PerformanceOf(days []siteday.Day) (*Performance, bool) {
	p := &Performance{bins: map[int]heating{}, LowC: math.Inf(1), HighC: math.Inf(-1)}
	for i := range days {
		for binC, b := range days[i].Sums.Bins {
			p.bins[binC] = p.bins[binC].plus(heatingIn(&b))
		}
	}
	var outdoorC, shares, lifts, weights []float64
	for _, binC := range sortedKeys(p.bins) {
		h := p.bins[binC]
		if !h.seen() {
			continue
		}
		p.LowC, p.HighC = min(p.LowC, float64(binC)), max(p.HighC, float64(binC+1))
		if lift := h.liftRatio(); !math.IsNaN(lift) {
			outdoorC, weights = append(outdoorC, float64(binC)+0.5), append(weights, h.heatJ)
			lifts, shares = append(lifts, lift), append(shares, lift*h.cop())
		}
	}
	if p.lines = len(outdoorC) > 2 && p.HighC-p.LowC >= leastSpanK; p.lines {
		p.share.alpha, p.share.beta = stat.LinearRegression(outdoorC, shares, weights, false)
		p.lift.alpha, p.lift.beta = stat.LinearRegression(outdoorC, lifts, weights, false)
	}
	return p, p.HighC > p.LowC
}

func (h heating) seen() bool { return h.s >= seenS && h.heatJ > 0 && h.electricityJ > 0 }

// COP returns the efficiency at an outdoor temperature and how far that lies
// beyond what was seen; false where there is no line to draw on.
func (p *Performance) COP(outdoorC float64) (cop, beyondK float64, ok bool) {
	var near heating
	for binC := int(math.Floor(outdoorC)) - 1; binC <= int(math.Floor(outdoorC))+1; binC++ {
		if math.Abs(float64(binC)+0.5-outdoorC) < 1 {
			near = near.plus(p.bins[binC])
		}
	}
	if near.seen() {
		return near.cop(), 0, true
	}
	beyondK = max(p.LowC-outdoorC, outdoorC-p.HighC, 0)
	if !p.lines {
		return 0, beyondK, false
	}
	atC := min(max(outdoorC, p.LowC-mostBeyondK), p.HighC+mostBeyondK)
	cop = p.share.at(atC) / max(p.lift.at(atC), leastLiftRatio)
	return cop, beyondK, cop > 0
}

package sensor

import (
	"fmt"
	"math"

	"coldweek/ingest"
)

// mistake is a unit that was taken for the channel's: readings must be
// multiplied by factor.
type mistake struct {
	factor float64
	words  string
}

// Factors are exact by definition, as in ingest.Unit.
var flowMistakes = []mistake{
	{60, "l/min taken for l/h"},
	{1000, "m³/h taken for l/h"},
	{3600, "l/s taken for l/h"},
	{3.785411784 * 60, "US gal/min taken for l/h"},
	{1 / 60.0, "l/h taken for l/min"},
	{1 / 1000.0, "l/h taken for m³/h"},
}

var powerMistakes = []mistake{
	{1000, "kW taken for W"},
	{1 / 1000.0, "W taken for kW"},
}

// wattForKilowatt is the second of powerMistakes.
const wattForKilowatt verdict = 1

// Limits of what is taken for a wrong unit: no plant in any state reaches them
// (common practice, no source).
const (
	// A flow rate is wrong when it is so many times more or less than on the
	// paper, and right after a factor that brings it within withinTimes.
	flowTimes, withinTimes = 8.0, 2.6
	// Without paper, flow rates of houses while the compressor runs.
	leastFlowLPH, mostFlowLPH = 60, 20_000
	// Heat by electricity of a plant that heats, over ten minutes and more.
	leastCOP, mostCOP = 0.8, 12.0
	// leastHeatW is too little to say anything about electricity.
	leastHeatW = 300
	// enoughUnitS of running show a unit.
	enoughUnitS       = 45 * 60
	designDifferenceK = 5
	// Backup and immersion heaters of houses, and a house's whole plant.
	mostHeatersW, mostPlantW = 12_000, 40_000
)

// units looks for readings that are whole factors off.
func (l *look) units() []Suspicion {
	var found []Suspicion
	if s, ok := l.flowUnit(); ok {
		found = append(found, s)
	}
	if s, ok := l.powerUnit(); ok {
		found = append(found, s)
	}
	if s, ok := l.outputUnit(); ok {
		found = append(found, s)
	}
	return append(found, l.fahrenheit()...)
}

// verdict of one block: which mistake it shows, none, or right.
type verdict int

const (
	silent verdict = -1 // too little to say
	right  verdict = -2
)

// latest finds the last stretch of blocks that show one mistake for long
// enough and are not contradicted.
func (l *look) latest(of func(k int, b *block) (verdict, float64)) (first, last int, v verdict, ok bool) {
	begin, end, kind, lengthS := -1, 0, silent, 0.0
	for k := range l.blocks {
		now, s := of(k, &l.blocks[k])
		switch {
		case now == silent:
			continue
		case now == right || now != kind:
			begin, lengthS, kind = -1, 0, now
		}
		if now == right {
			continue
		}
		if begin < 0 {
			begin = k
		}
		lengthS += s
		end = k + 1
		if lengthS >= enoughUnitS {
			first, last, v, ok = begin, end, now, true
		}
	}
	return first, last, v, ok
}

// paperFlowLPH is the flow the record leads one to expect, NaN without.
func (k Known) paperFlowLPH() float64 {
	switch {
	case k.FlowLPH > 0:
		return k.FlowLPH
	case k.RatedHeatW > 0:
		return k.RatedHeatW / (waterWhPerLK * designDifferenceK)
	case k.MinimumFlowLPH > 0:
		return 2 * k.MinimumFlowLPH
	}
	return math.NaN()
}

// mostPowerW is more electricity than the plant and its heaters can take.
func (k Known) mostPowerW() float64 {
	if k.RatedHeatW > 0 {
		return k.RatedHeatW + mostHeatersW
	}
	return mostPlantW
}

func (l *look) flowUnit() (Suspicion, bool) {
	paperLPH := l.known.paperFlowLPH()
	first, last, v, ok := l.latest(func(_ int, b *block) (verdict, float64) {
		if b.runFlowLPH.s < blockMS/1000/4 {
			return silent, 0
		}
		if paperLPH > 0 {
			return nearest(flowMistakes, b.runFlowLPH.mean()/paperLPH, 1/flowTimes, flowTimes), b.runFlowLPH.s
		}
		return l.flowByHeat(b), b.runFlowLPH.s
	})
	if !ok {
		return Suspicion{}, false
	}
	l.flowFactor, l.misread = flowMistakes[v].factor, stretch{first, last}
	var lph span
	for k := first; k < last; k++ {
		lph.join(l.blocks[k].runFlowLPH)
	}
	why := fmt.Sprintf("against about %.0f l/h on paper", paperLPH)
	if !(paperLPH > 0) {
		why = "which with its difference of flow and return is no heat for the electricity taken"
	}
	s := l.unitOf(ingest.Channel(ingest.FlowRate), first, last, flowMistakes[v])
	s.Detail = fmt.Sprintf("the flow rate reads %.3g l/h while the compressor runs, %s: it looks like %s; set the channel's unit", lph.mean(), why, flowMistakes[v].words)
	s.Effect = timesEffect(1/flowMistakes[v].factor, 1)
	return s, true
}

// flowByHeat judges a flow rate by itself and what heat it would be.
func (l *look) flowByHeat(b *block) verdict {
	lph := b.runFlowLPH.mean()
	if lph > leastFlowLPH && lph < mostFlowLPH {
		return right
	}
	kW := waterWhPerLK * lph * (b.runFlowC.mean() - b.runReturnC.mean()) / 1000
	cop := kW * 1000 / b.runPowerW.mean()
	for i, m := range flowMistakes {
		if c := cop * m.factor; c > leastCOP && c < mostCOP && lph*m.factor > leastFlowLPH && lph*m.factor < mostFlowLPH {
			return verdict(i)
		}
	}
	return silent
}

// nearest names the mistake that makes ratio nearest to 1, right where it is
// between low and high, silent where no mistake does.
func nearest(mistakes []mistake, ratio, low, high float64) verdict {
	if ratio > low && ratio < high {
		return right
	}
	best, off := silent, math.Log(withinTimes)
	for i, m := range mistakes {
		if d := math.Abs(math.Log(ratio * m.factor)); d < off {
			best, off = verdict(i), d
		}
	}
	return best
}

// factorIn is what flow rates of a block must be multiplied by.
func (l *look) factorIn(k int) float64 {
	if k >= l.misread.first && k < l.misread.last {
		return l.flowFactor
	}
	return 1
}

// powerUnit holds electricity against heat.
func (l *look) powerUnit() (Suspicion, bool) {
	if l.t.HeatW == nil || l.t.PowerW == nil {
		return Suspicion{}, false
	}
	first, last, v, ok := l.latest(func(k int, b *block) (verdict, float64) {
		heatW, powerW := b.heatW.mean()*l.factorIn(k), b.powerW.mean()
		s := min(b.heatW.s, b.powerW.s)
		if most := l.known.mostPowerW(); b.powerW.s >= blockMS/1000/4 && b.powerW.low > most {
			return wattForKilowatt, b.powerW.s
		}
		if s < blockMS/1000/4 || !(heatW > max(leastHeatW, l.known.RatedHeatW/20)) || powerW <= 0 {
			return silent, 0
		}
		cop := heatW / powerW
		for i, m := range powerMistakes {
			if c := cop / m.factor; c > leastCOP && c < mostCOP {
				return verdict(i), s
			}
		}
		if cop > leastCOP && cop < mostCOP {
			return right, s
		}
		return silent, 0
	})
	if !ok {
		return Suspicion{}, false
	}
	var powerW, heatW span
	for k := first; k < last; k++ {
		powerW.join(l.blocks[k].powerW)
		heatW.join(l.blocks[k].heatW)
	}
	trueHeatW := heatW.mean() * l.factorIn(last-1)
	m := powerMistakes[v]
	s := l.unitOf(ingest.Channel(ingest.Power), first, last, m)
	s.Detail = fmt.Sprintf("%.3g W of electricity against %.3g W of heat: it looks like %s; set the channel's unit",
		powerW.mean(), trueHeatW, m.words)
	s.Effect = timesEffect(1, 1/m.factor)
	return s, true
}

// outputUnit holds the meter's own heat output against flow and difference.
func (l *look) outputUnit() (Suspicion, bool) {
	first, last, v, ok := l.latest(func(k int, b *block) (verdict, float64) {
		if b.runOutputW.s < blockMS/1000/4 || !(b.runHeatW.mean()*l.factorIn(k) > leastHeatW) {
			return silent, 0
		}
		return nearest(powerMistakes, b.runOutputW.mean()/(b.runHeatW.mean()*l.factorIn(k)), 1/flowTimes, flowTimes), b.runOutputW.s
	})
	if !ok {
		return Suspicion{}, false
	}
	var outputW, heatW span
	for k := first; k < last; k++ {
		outputW.join(l.blocks[k].runOutputW)
		heatW.join(l.blocks[k].runHeatW)
	}
	m := powerMistakes[v]
	s := l.unitOf(ingest.Channel(ingest.HeatOutput), first, last, m)
	s.Detail = fmt.Sprintf("the meter's heat output of %.3g W is %.3g W by flow and difference: it looks like %s; set the channel's unit",
		outputW.mean(), heatW.mean()*l.factorIn(last-1), m.words)
	return s, true
}

func (l *look) unitOf(ch ingest.Channel, first, last int, m mistake) Suspicion {
	return Suspicion{
		Kind: WrongUnit, Channels: []ingest.Channel{ch}, Since: utc(l.blockStart(first)), Until: utc(l.blockStart(last)),
		Size: m.factor, Low: m.factor, High: m.factor, Unit: "times",
	}
}

// timesEffect is the effect of heat and electricity shown so many times what
// they are.
func timesEffect(heatFactor, electricityFactor float64) *Effect {
	return &Effect{HeatPct: 100 * (heatFactor - 1), SPFPct: 100 * (heatFactor/electricityFactor - 1)}
}

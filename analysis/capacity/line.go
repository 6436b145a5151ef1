package capacity

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/robust"
)

// line is the greatest output by outdoor temperature.
type line struct {
	at          func(outdoorC float64) (heatW, beyondK float64, ok bool)
	ratio       float64 // half of the 95 % interval within what was shown
	lowC, highC float64 // where full output was shown; NaN: nowhere
}

// estimate is the output with its interval; false where it is not known.
func (l *line) estimate(outdoorC float64) (robust.Estimate, bool) {
	heatW, beyondK, ok := l.at(outdoorC)
	if !ok || heatW <= 0 {
		return robust.Estimate{}, false
	}
	half := l.ratio + beyondRatioPerK*max(beyondK, l.unseenK(outdoorC))
	return robust.Estimate{Value: heatW, Low: heatW * (1 - half), High: heatW * (1 + half)}, true
}

// unseenK is how far a temperature lies from where full output was shown; of a
// laboratory alone that is no question.
func (l *line) unseenK(outdoorC float64) float64 {
	if math.IsNaN(l.lowC) {
		return 0
	}
	return max(l.lowC-outdoorC, outdoorC-l.highC, 0)
}

// shownLine follows the hours of full output: scaled from the test points where
// there are any, else by a line of its own, else level.
func shownLine(full []*hour, lab *laboratory, flowC func(outdoorC float64) float64) *line {
	l := &line{lowC: math.Inf(1), highC: math.Inf(-1)}
	var outdoorC, heatW, ratios []float64
	for _, h := range full {
		l.lowC, l.highC = min(l.lowC, h.outdoorC), max(l.highC, h.outdoorC)
		outdoorC, heatW = append(outdoorC, h.outdoorC), append(heatW, h.heatW)
		if !math.IsNaN(h.labW) {
			ratios = append(ratios, h.heatW/h.labW)
		}
	}
	if len(ratios) >= minFullHours {
		scale := greatest(ratios)
		l.ratio = max(leastRatio, 1.96*standardError(ratios)/scale)
		l.at = func(atC float64) (float64, float64, bool) {
			labW, beyondK, ok := lab.heatW(atC, flowC(atC))
			return scale * labW, beyondK, ok
		}
		return l
	}
	meanC, wPerK := stat.Mean(outdoorC, nil), 0.0
	beyondK := float64(binK)
	if l.highC-l.lowC >= leastSpanK && len(full) >= leastLineHours {
		_, wPerK = stat.LinearRegression(outdoorC, heatW, nil, false)
		beyondK = mostBeyondK
	}
	for i := range heatW {
		heatW[i] -= wPerK * (outdoorC[i] - meanC)
	}
	topW := greatest(heatW)
	l.ratio = max(leastRatio, 1.96*standardError(heatW)/topW)
	l.at = func(atC float64) (float64, float64, bool) {
		return topW + wPerK*(atC-meanC), l.unseenK(atC), l.unseenK(atC) <= beyondK
	}
	return l
}

// A line of its own needs so many hours over so many kelvin.
const (
	leastSpanK     = 5
	leastLineHours = 12
)

// greatest leaves out the lower hours, in which frost had grown thick or output
// was not quite full, and the highest tenth for noise.
func greatest(values []float64) float64 {
	return stat.Quantile(0.9, stat.LinInterp, slices.Sorted(slices.Values(values)), nil)
}

// standardError of a mean of hours, which follow one another.
func standardError(values []float64) float64 {
	rho, _ := robust.Autocorrelation(values)
	return stat.StdDev(values, nil) / math.Sqrt(robust.EffectiveSize(len(values), rho))
}

// laboratoryLine is what the test points alone say.
func laboratoryLine(lab *laboratory, flowC func(outdoorC float64) float64) *line {
	return &line{ratio: leastRatio, lowC: math.NaN(), highC: math.NaN(), at: func(atC float64) (float64, float64, bool) {
		return lab.heatW(atC, flowC(atC))
	}}
}

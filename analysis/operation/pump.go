package operation

import (
	"math"
	"slices"
)

// pumpLine is the flow rate in heating as it follows the electrical power: a
// modulating pump gives more when the machine works harder.
type pumpLine struct {
	middleW, middleLPH    float64
	lphPerW               float64
	lowestLPH, highestLPH float64
}

// learnPumpLine draws a line through the medians of the lower and the upper
// third of powers (Tukey's resistant line).
func learnPumpLine(powerW, flowLPH []float64) pumpLine {
	order := make([]int, len(powerW))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case powerW[a] < powerW[b]:
			return -1
		case powerW[a] > powerW[b]:
			return 1
		}
		return 0
	})
	third := max(len(order)/3, 1)
	middleOf := func(places []int) (w, lph float64) {
		ws, lphs := make([]float64, len(places)), make([]float64, len(places))
		for i, k := range places {
			ws[i], lphs[i] = powerW[k], flowLPH[k]
		}
		return medianOf(ws), medianOf(lphs)
	}
	lowW, lowLPH := middleOf(order[:third])
	highW, highLPH := middleOf(order[len(order)-third:])
	line := pumpLine{}
	line.middleW, line.middleLPH = middleOf(order)
	if highW > lowW {
		line.lphPerW = max((highLPH-lowLPH)/(highW-lowW), 0)
	}
	sorted := slices.Sorted(slices.Values(flowLPH))
	line.lowestLPH, line.highestLPH = quantile(sorted, 0.03), quantile(sorted, 0.97)
	return line
}

// at returns the flow rate to be expected, within what was seen.
func (p pumpLine) at(powerW float64) float64 {
	lph := p.middleLPH
	if !math.IsNaN(powerW) {
		lph += p.lphPerW * (powerW - p.middleW)
	}
	return min(max(lph, p.lowestLPH), p.highestLPH)
}

// spread is how far flow rates lie from the line, as a share; see spreadOf.
func (p pumpLine) spread(powerW, flowLPH []float64) float64 {
	far := make([]float64, len(flowLPH))
	for i := range far {
		far[i] = math.Abs(flowLPH[i]/p.at(powerW[i]) - 1)
	}
	return robustSpread(far)
}

// spreadOf is the distance from the middle as a share.
func spreadOf(values []float64, middleValue float64) float64 {
	far := make([]float64, len(values))
	for i, v := range values {
		far[i] = math.Abs(v/middleValue - 1)
	}
	return robustSpread(far)
}

// robustSpread turns distances into the standard deviation of a normal spread.
func robustSpread(far []float64) float64 { return 1.48 * medianOf(far) }

package season

import "math"

// UKBaseC is the base of degree days customary in the United Kingdom (TM41), for
// houses whose own is not known.
const UKBaseC = 15.5

// HourlyDegreeDays sums, over hourly temperatures, how far each is below the
// base, in kelvin days. It is the definition; the others estimate it.
func HourlyDegreeDays(outdoorC []float64, baseC float64) float64 {
	return DailyDegreeDays(outdoorC, baseC) / hoursPerDay
}

// DailyDegreeDays sums over daily means. Days whose mean is above the base count
// nothing, though some of their hours were below it.
func DailyDegreeDays(meanC []float64, baseC float64) float64 {
	sum := 0.0
	for _, c := range meanC {
		sum += max(0, baseC-c)
	}
	return sum
}

// MetOfficeDegreeDays is one day's by its lowest and highest temperature, with
// the UK Met Office's equations: for a day wholly below the base base - mean; for
// one mostly below it half of what it goes below less a quarter of what it goes
// above; for one mostly above a quarter of what it goes below; else nothing.
func MetOfficeDegreeDays(lowestC, highestC, baseC float64) float64 {
	below, above := baseC-lowestC, highestC-baseC
	switch {
	case above <= 0:
		return baseC - (lowestC+highestC)/2
	case below <= 0:
		return 0
	case above <= below:
		return below/2 - above/4
	}
	return below / 4
}

// HitchinK is the constant of Hitchin's formula for the United Kingdom, per
// kelvin (from memory, not compared with TM41).
const HitchinK = 0.71

// HitchinKOf is the constant by how the daily means of the month scatter, their
// standard deviation (from memory, not compared with TM41).
func HitchinKOf(sigmaK float64) float64 { return 2.5 / sigmaK }

// HitchinDegreeDays estimates a month's by its mean temperature alone:
//
//	days · (base - mean) / (1 - exp(-k·(base - mean)))
func HitchinDegreeDays(days int, meanC, baseC, k float64) float64 {
	belowK := baseC - meanC
	if math.Abs(belowK) < 1e-9 {
		return float64(days) / k
	}
	return float64(days) * belowK / (1 - math.Exp(-k*belowK))
}

// DegreeDayHeatJ is the heat of a house in so many degree days.
func DegreeDayHeatJ(heatLossWPerK, degreeDays float64) float64 {
	return heatLossWPerK * degreeDays * hoursPerDay * secondsPerHour
}

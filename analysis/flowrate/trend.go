package flowrate

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"coldweek/analysis/robust"
)

const (
	// minTrendDays with enough heating show a trend: from ten values on
	// Kendall's score is as good as normal (Kendall 1975).
	minTrendDays = 10
	// wanderPct is how far a flow meter's reading may wander between the first
	// days and the last without the flow changing (common practice, no source).
	wanderPct = 0.5
	// mostCorrelated bounds what is made of days that follow each other.
	mostCorrelated = 0.9

	daysPerWeek = 7
)

// Trend is how the comparable flow moves.
type Trend struct {
	// PctPerWeek is in percent of the flow that the trend's line has where the
	// first day begins; a falling flow is negative. 95 % interval.
	PctPerWeek robust.Estimate
	// P is the probability of flows that rise or fall so steadily without a
	// trend (Mann-Kendall, with allowance for days that follow each other).
	P float64
	// Correlation is how what is left of a day goes with the day before.
	Correlation float64
	// WeatherTakenOut says whether the outdoor temperature was known, so that
	// what goes with it could be taken out.
	WeatherTakenOut bool
	Days            int     // that it stands on
	SpanDays        float64 // from the first to the last
}

// Seen says whether the interval leaves out zero.
func (t *Trend) Seen() bool { return t.PctPerWeek.Low > 0 || t.PctPerWeek.High < 0 }

// trendOf returns nil for too few days.
//
// What goes with the outdoor temperature is taken out of the flow and out of
// the time alike, by least squares; the slope between what is left of both is
// the trend at equal weather (Frisch and Waugh 1933), and weather that itself
// went one way widens its interval. The slope is Theil and Sen's.
func trendOf(days []Day) *Trend {
	if len(days) < minTrendDays {
		return nil
	}
	time, level := make([]float64, len(days)), make([]float64, len(days))
	for i, d := range days {
		time[i], level[i] = dayNumber(days[0], d), d.Level
	}
	t := &Trend{Days: len(days), SpanDays: time[len(time)-1]}
	restTime, restLevel := time, level
	if outdoorC, ok := outdoors(days); ok {
		t.WeatherTakenOut = true
		restTime, restLevel = without(time, outdoorC), without(level, outdoorC)
	}
	line, ok := robust.TheilSen(restTime, restLevel)
	if !ok {
		return nil
	}
	rests := make([]float64, len(days))
	for i := range days {
		rests[i] = restLevel[i] - line.At(restTime[i])
	}
	t.Correlation = correlation(days, rests)
	for i := range rests {
		rests[i] += line.Slope.Value * time[i]
	}
	if mk, ok := robust.MannKendall(rests); ok {
		t.P = mk.Correlated(t.Correlation).P
	}
	// A day's flow stands for its middle.
	first := mean(level) - line.Slope.Value*(mean(time)+0.5)
	if first <= 0 {
		return nil // of no flow there is no percentage
	}
	t.PctPerWeek = t.perWeek(line.Slope, first)
	return t
}

// perWeek turns a slope per day into percent of the flow at first, with all
// that makes it doubtful.
func (t *Trend) perWeek(slope robust.Estimate, first float64) robust.Estimate {
	pct := 100 * daysPerWeek / first
	wider := widening(t.Days, t.Correlation)
	wander := wanderPct * daysPerWeek / t.SpanDays
	side := func(end float64) float64 { return math.Hypot(pct*(end-slope.Value)*wider, wander) }
	value := pct * slope.Value
	return robust.Estimate{Value: value, Low: value - side(slope.Low), High: value + side(slope.High)}
}

// widening of an interval that took n values as independent: as if there were
// only as many as tell something new, and with Student's quantile for so few,
// less two for the line. Fewer than two left over would say nothing at all.
func widening(n int, rho float64) float64 {
	alone := robust.EffectiveSize(n, rho)
	student := distuv.StudentsT{Sigma: 1, Nu: max(alone-2, 2)}
	return math.Sqrt(float64(n)/alone) * student.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
}

// dayNumber counts local days from the first.
func dayNumber(first, d Day) float64 {
	return math.Round(d.From.Sub(first.From).Hours() / (24 * time.Hour).Hours())
}

// outdoors returns each day's outdoor temperature, false when one is missing
// or all are the same.
func outdoors(days []Day) ([]float64, bool) {
	outdoorC := make([]float64, len(days))
	varies := false
	for i, d := range days {
		if d.OutdoorC == nil {
			return nil, false
		}
		outdoorC[i] = *d.OutdoorC
		varies = varies || outdoorC[i] != outdoorC[0]
	}
	return outdoorC, varies
}

// without returns y less what goes with x, about its own mean.
func without(y, x []float64) []float64 {
	meanX, meanY := mean(x), mean(y)
	var xx, xy float64
	for i := range x {
		xx += (x[i] - meanX) * (x[i] - meanX)
		xy += (x[i] - meanX) * (y[i] - meanY)
	}
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - meanY - xy/xx*(x[i]-meanX)
	}
	return rest
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// correlation of each day's rest with that of the day before. A line fitted to
// a short series takes some of it away, about (2 + 4·rho)/n (Marriott and Pope
// 1954 for a mean, twice that for a line), which is made good.
func correlation(days []Day, rests []float64) float64 {
	grid := make([]float64, int(dayNumber(days[0], days[len(days)-1]))+1)
	for i := range grid {
		grid[i] = math.NaN()
	}
	for i, d := range days {
		grid[int(dayNumber(days[0], d))] = rests[i]
	}
	rho, ok := robust.Autocorrelation(grid)
	if !ok {
		return 0
	}
	n := float64(len(days))
	return min(max((n*rho+2)/(n-4), 0), mostCorrelated)
}

package trace

import (
	"math"
	"slices"

	"coldweek/ingest"
)

// Registers are the meter's own sums and need no sampling theory, so energies
// are scaled to them where they are good enough for it.
const (
	joulePerKWh = 3.6e6
	// resetShare: a register that falls by more than this share of its value
	// was reset; a smaller fall is heat taken back, as in a defrost. The 95 %
	// are those of the data cleaning of the UK Electrification of Heat trial.
	resetShare = 0.95
	// minSteps of its resolution must a register have risen to be worth more
	// than the integral (common practice, no source).
	minSteps = 20
	// maxBridgeS is the longest gap across which power is taken as even, only
	// to compare with the register.
	maxBridgeS = 15 * 60
)

// Unwrap returns the register as an ever-running sum: roll-overs (a fall from
// just below a power of ten to just above zero) and resets to zero are taken
// out. Falls returns how much it fell in small steps.
func Unwrap(register ingest.Column) (sum []float64, resets int, falls float64) {
	sum = make([]float64, register.Len())
	base := 0.0
	for i, v := range register.Value {
		if i > 0 {
			before := register.Value[i-1]
			switch {
			case before-v > resetShare*before && before > 0:
				resets++
				base += before
				if full := rollOver(before); full > 0 {
					base += full - before
				}
			case v < before:
				falls += before - v
			}
		}
		sum[i] = base + v
	}
	return sum, resets, falls
}

// rollOver returns the power of ten that a counter was about to reach, or 0
// when it was too far from one for a roll-over: 0.1 % of its range.
func rollOver(value float64) float64 {
	full := math.Pow(10, math.Ceil(math.Log10(value)))
	if value >= 0.999*full && full >= 1000 {
		return full
	}
	return 0
}

// registerSlopeW is the mean power between two changes of a register of
// energy, for plants that publish nothing faster.
func registerSlopeW(register ingest.Column, edgeMS []int64) []float64 {
	sum, _, _ := Unwrap(register)
	rate := ingest.Column{Channel: register.Channel}
	last := 0
	for i := 1; i < len(sum); i++ {
		if sum[i] == sum[last] && i+1 < len(sum) {
			continue
		}
		seconds := float64(register.UnixMS[i]-register.UnixMS[last]) / 1000
		rate.UnixMS = append(rate.UnixMS, register.UnixMS[last])
		rate.Value = append(rate.Value, (sum[i]-sum[last])*joulePerKWh/seconds)
		last = i
	}
	if len(rate.UnixMS) == 0 {
		return nil
	}
	rate.UnixMS = append(rate.UnixMS, register.UnixMS[last])
	rate.Value = append(rate.Value, 0)
	return intervalMeans(rate, ingest.Hold, math.MaxInt64, edgeMS)
}

// Calibration is a register held against the integral of the same power.
type Calibration struct {
	Usable      bool    // the register rose enough to be compared
	Factor      float64 // register by integral; 1 when not usable
	RiseKWh     float64 // of the register, over the stretches compared
	IntegralKWh float64 // over the same stretches
	Resets      int
	CountsDown  bool // the register falls when heat is drawn
}

// Calibrate compares a register with powerW over intervals first <= i < last.
// Stretches of known power are compared, short gaps in them bridged.
func (t *Trace) Calibrate(ch ingest.Channel, powerW []float64, first, last int) Calibration {
	result := Calibration{Factor: 1}
	register, ok := t.columns[ch]
	if !ok || powerW == nil || register.Len() < 2 {
		return result
	}
	sum, resets, falls := Unwrap(register)
	result.Resets = resets
	result.CountsDown = falls > 0
	at := func(ms int64) float64 { return interpolate(register.UnixMS, sum, ms) }
	for _, s := range t.stretches(powerW, first, last, result.CountsDown) {
		rise := at(s.toMS) - at(s.fromMS)
		if math.IsNaN(rise) {
			continue
		}
		result.RiseKWh += rise
		result.IntegralKWh += s.kWh
	}
	step := resolution(register.Value)
	if result.IntegralKWh > 0 && result.RiseKWh >= minSteps*step && step > 0 {
		result.Usable = true
		result.Factor = result.RiseKWh / result.IntegralKWh
	}
	return result
}

// stretch is a span of known power and the energy in it.
type stretch struct {
	fromMS, toMS int64
	kWh          float64
}

// stretches joins known intervals, taking the mean of both sides across gaps
// of at most maxBridgeS. Negative power counts only if the register counts it.
func (t *Trace) stretches(powerW []float64, first, last int, signed bool) []stretch {
	var all []stretch
	known := func(i int) float64 {
		if !signed {
			return max(powerW[i], 0)
		}
		return powerW[i]
	}
	open, before := false, 0.0
	for i := first; i < last; i++ {
		if math.IsNaN(powerW[i]) {
			continue
		}
		w := known(i)
		energy := w * t.DurS[i] / joulePerKWh
		gapS := 0.0
		if open {
			gapS = float64(t.EdgeMS[i]-all[len(all)-1].toMS) / 1000
		}
		if !open || gapS > maxBridgeS {
			all, open = append(all, stretch{fromMS: t.EdgeMS[i]}), true
			gapS = 0
		}
		s := &all[len(all)-1]
		s.kWh += energy + (before+w)/2*gapS/joulePerKWh
		s.toMS = t.EdgeMS[i+1]
		before = w
	}
	return all
}

// interpolate returns the value at a time, NaN outside the samples.
func interpolate(unixMS []int64, value []float64, ms int64) float64 {
	i, exact := slices.BinarySearch(unixMS, ms)
	switch {
	case exact:
		return value[i]
	case i == 0 || i == len(unixMS):
		return math.NaN()
	}
	share := float64(ms-unixMS[i-1]) / float64(unixMS[i]-unixMS[i-1])
	return value[i-1] + share*(value[i]-value[i-1])
}

// resolution is the smallest step the register made, 0 when it made none.
func resolution(values []float64) float64 {
	smallest := math.Inf(1)
	for i := 1; i < len(values); i++ {
		if step := math.Abs(values[i] - values[i-1]); step > 1e-9 {
			smallest = min(smallest, step)
		}
	}
	if math.IsInf(smallest, 1) {
		return 0
	}
	return smallest
}

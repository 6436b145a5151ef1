package curve

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/emitter"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Emission is what the emitters together were seen to give: the heat of whole
// days against the mean excess of the water over the rooms while it was heated.
// Days, since what a floor stores in one hour it gives in another, and since
// water that is heated for twenty hours heats the rooms for twenty-four.
type Emission struct {
	ExcessK  float64         // in the middle of the days
	HeatW    robust.Estimate // there
	Exponent robust.Estimate // assumed, by the kind of emitters
	SpreadK  float64         // flow less return there
	Days     int
}

const (
	// A day counts with its heat known for so much of it, the compressor heating
	// for so much of what hot water leaves, and so many hours of settled heating
	// (common practice, no source).
	dayCoverage, dayRun, daySettledS = 0.9, 0.7, 6 * 3600
	fewestDays                       = 5
	// leastExcessK: below it sensors are off by too much of it.
	leastExcessK = 3
	// meanOfMedian is the deviation of a median by that of a mean, of normal noise.
	meanOfMedian = 1.2533
	// exponents of emitters of a kind vary by this, of an unknown kind by that.
	kindDoubt, anyDoubt = 0.05, 0.12
)

// emissionDay is a day of an Emission.
type emissionDay struct {
	heatW, excessK, spreadK float64
	pausesRatio             float64 // that heatW was raised by, for pauses
}

// emission returns nil without days that show it.
func (k *Known) emission(s *siteday.Sums) *Emission {
	var days []emissionDay
	for first := 0; first < len(s.Hours); {
		last := first + 1
		for last < len(s.Hours) && s.Hours[last].From.Format(time.DateOnly) == s.Hours[first].From.Format(time.DateOnly) {
			last++
		}
		if day, ok := dayOf(s.Hours[first:last]); ok {
			days = append(days, day)
		}
		first = last
	}
	if len(days) < fewestDays {
		return nil
	}
	return k.together(days)
}

// together brings all days to the middle excess.
func (k *Known) together(days []emissionDay) *Emission {
	pick := func(of func(d emissionDay) float64) []float64 {
		values := make([]float64, len(days))
		for i, d := range days {
			values[i] = of(d)
		}
		return values
	}
	e := &Emission{Days: len(days), Exponent: k.exponents()}
	e.ExcessK, _ = robust.Median(pick(func(d emissionDay) float64 { return d.excessK }))
	heatsW := pick(func(d emissionDay) float64 { return d.heatW * math.Pow(e.ExcessK/d.excessK, e.Exponent.Value) })
	middleW, _ := robust.Median(heatsW)
	deviationW, _ := robust.Deviation(heatsW)
	rho, _ := robust.Autocorrelation(heatsW)
	half := 1.96 * meanOfMedian * deviationW / math.Sqrt(robust.EffectiveSize(len(days), rho))
	pausesRatio, _ := robust.Median(pick(func(d emissionDay) float64 { return d.pausesRatio }))
	half = math.Hypot(half, (pausesRatio-1)*middleW)
	e.HeatW = robust.Estimate{Value: middleW, Low: middleW - half, High: middleW + half}
	perW, _ := robust.Median(pick(func(d emissionDay) float64 { return d.spreadK / d.heatW }))
	e.SpreadK = perW * middleW
	return e
}

func (k *Known) exponents() robust.Estimate {
	n, doubt := k.exponent(), kindDoubt
	if k.Exponent <= 0 {
		doubt = anyDoubt
	}
	return robust.Estimate{Value: n, Low: max(n-doubt, 1), High: n + doubt}
}

func dayOf(hours []siteday.Hour) (emissionDay, bool) {
	var lengthS, coveredS, heatingS, freeS, heatJ, settledS, excessKS, spreadKS float64
	for i := range hours {
		h := &hours[i]
		lengthS, coveredS = lengthS+h.S, coveredS+h.CoveredS
		heatingS, freeS = heatingS+h.RunS-h.HotWaterS, freeS+h.S-h.HotWaterS
		heatJ += h.SpaceJ + h.CirculatedJ
		flowC, ok1 := h.Steady.Flow.Of()
		returnC, ok2 := h.Steady.Return.Of()
		roomC, ok3 := h.Room.Of()
		if ok1 && ok2 && ok3 {
			settledS += h.Steady.S
			excessKS += h.Steady.S * emitter.ExcessK(flowC, returnC, roomC)
			spreadKS += h.Steady.S * (flowC - returnC)
		}
	}
	// In a pause emitters go on with what they hold: what they gave on end while
	// heated lies between the day's mean and all of it in the time of heating.
	duty := min(heatingS/max(freeS, 1), 1)
	pauses := 1 / math.Sqrt(max(duty, dayRun))
	d := emissionDay{heatJ / max(coveredS, 1) * pauses, excessKS / max(settledS, 1), spreadKS / max(settledS, 1), pauses}
	whole := coveredS >= dayCoverage*lengthS && lengthS > 20*3600
	return d, whole && duty >= dayRun && settledS >= daySettledS && d.excessK >= leastExcessK && d.heatW > 0
}

// excessFor is the excess at which the emitters give so much heat.
func (e *Emission) excessFor(heatW, atW, exponent float64) float64 {
	return e.ExcessK * math.Pow(max(heatW, 0)/atW, 1/exponent)
}

// roomsExcess is the same for the room that needs most, in K above its set
// temperature, and its name; every room carries its part of the heat by its
// design loss. False where the record does not tell the rooms' emitters apart.
func (k *Known) roomsExcess(e *Emission, heatW, atW float64) (meanC float64, place string, ok bool) {
	nominalW, lossW := 0.0, 0.0
	for i := range k.Rooms {
		room := &k.Rooms[i]
		if room.DesignLossW == nil || !k.comparable(room) {
			return 0, "", false
		}
		nominalW, lossW = nominalW+nominal(room, e.ExcessK), lossW+*room.DesignLossW
	}
	if nominalW <= 0 || lossW <= 0 || atW <= 0 {
		return 0, "", false
	}
	meanC = math.Inf(-1)
	for i := range k.Rooms {
		room := &k.Rooms[i]
		wantedW := heatW * *room.DesignLossW / lossW * nominalW / atW
		setC := k.roomC()
		if room.SetC != nil {
			setC = *room.SetC
		}
		if c := setC + excessOf(room, wantedW); c > meanC {
			meanC, place = c, room.Place
		}
	}
	return meanC, place, true
}

// comparable says whether a room's emitters can be held against the others': all
// radiators, or all floors. What pipes and coverings do to a floor is not known.
func (k *Known) comparable(room *emitter.Room) bool {
	floors := slices.ContainsFunc(k.Rooms, func(r emitter.Room) bool { return r.FloorAreaM2 > 0 })
	if floors {
		return room.FloorAreaM2 > 0 && len(room.Radiators) == 0
	}
	return len(room.Radiators) > 0
}

// nominal is the output of a room's emitters by paper, a floor's in a unit of
// its own.
func nominal(room *emitter.Room, excessK float64) float64 {
	if room.FloorAreaM2 > 0 {
		return room.FloorAreaM2 * math.Pow(excessK, emitter.FloorExponent)
	}
	sum := 0.0
	for _, r := range room.Radiators {
		sum += r.At(excessK)
	}
	return sum
}

// excessOf turns nominal round.
func excessOf(room *emitter.Room, wantedW float64) float64 {
	low, high := 0.0, 100.0
	for range 50 {
		if middle := (low + high) / 2; nominal(room, middle) < wantedW {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

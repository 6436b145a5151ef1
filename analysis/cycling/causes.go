package cycling

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"coldweek/analysis/siteday"
)

// Kind names a cause of short runs.
type Kind string

// The causes.
const (
	MinimumOutput   Kind = "minimum_output"   // lowest output above the load
	LittleWater     Kind = "little_water"     // too little water and mass
	LowFlow         Kind = "low_flow"         // flow so low that its difference eats the swing
	RoomDemand      Kind = "room_demand"      // a thermostat ends the runs
	HotWaterBetween Kind = "hot_water"        // hot water comes between
	TightSwing      Kind = "tight_hysteresis" // stop and start lie close
)

// Finding says what the evidence makes of a cause.
type Finding string

// The findings.
const (
	Likely   Finding = "likely"
	Unlikely Finding = "unlikely"
	Unknown  Finding = "not known"
)

// Cause is one possible reason and the figures it rests on.
type Cause struct {
	Kind     Kind
	Finding  Finding
	Share    float64 // of the examined runs it accounts for
	Factor   float64 // by which it shortens runs ended by warm water; 0 of the others
	Title    string
	Evidence []Figure
	Missing  string // what would have to be known, of Unknown
}

// Figure is one figure of the evidence.
type Figure struct {
	Name     string
	Value    float64
	Unit     string
	Decimals int
}

// What an ordinary plant has (common practice, no source): the flow swings 6 K
// between stop and start, of which 4 K warm the water on average; the lowest
// output is at most half of the design heat loss; there is water for one start
// in twice the shortest run. A cause is likely from a factor of 1.2 on.
const (
	usableSwingK     = 4.0
	lowestShareOfMax = 0.5
	lengthsPerCycle  = 2
	leastSurplus     = 0.4 // of the lowest output, in mild weather
	likelyFactor     = 1.2
	volumeSwingK     = 5.0 // for which the needed volume is told
	leastUsableK     = 0.3
	lowFlowShare     = 0.85 // of the commissioned flow
)

// causes puts the causes in order, most likely first, and says on how many
// runs they rest; none of fewer than five.
func causes(sums *siteday.Sums, plant Plant) ([]Cause, int) {
	f := newFacts(sums, plant)
	if len(f.examined) < minExamined {
		return nil, len(f.examined)
	}
	hotWater := f.hotWater()
	room := f.roomDemand()
	byWater := []Cause{f.minimumOutput(), f.littleWater(), f.lowFlow(), f.tightSwing()}
	shareOut(byWater, max(0, 1-hotWater.Share-room.Share))
	all := append(byWater, hotWater, room)
	rank := map[Finding]int{Likely: 0, Unknown: 1, Unlikely: 2}
	slices.SortStableFunc(all, func(a, b Cause) int {
		return cmp.Or(cmp.Compare(rank[a.Finding], rank[b.Finding]), cmp.Compare(b.Share, a.Share), cmp.Compare(b.Factor, a.Factor))
	})
	return all, len(f.examined)
}

// shareOut gives the runs that warm water ended to the causes that shorten
// them, by the logarithms of their factors. Where none stands out, the water
// simply got warm because the load is below the lowest output.
func shareOut(byWater []Cause, share float64) {
	total := 0.0
	for _, c := range byWater {
		if c.Finding == Likely {
			total += math.Log(c.Factor)
		}
	}
	for i := range byWater {
		if c := &byWater[i]; c.Finding == Likely {
			c.Share = share * math.Log(c.Factor) / total
		}
	}
}

// likelyFrom tells likely from unlikely, and not known of NaN.
func likelyFrom(c Cause, factor float64, missing string) Cause {
	switch {
	case math.IsNaN(factor):
		c.Finding, c.Missing = Unknown, missing
	case factor >= likelyFactor:
		c.Finding, c.Factor = Likely, factor
	default:
		c.Finding, c.Factor = Unlikely, factor
	}
	return c
}

// outputFactor is how many times too large the lowest output is: against the
// data sheet, and against the house.
func (f *facts) outputFactor() float64 {
	factor := math.NaN()
	if f.plant.MinimumHeatW != nil && *f.plant.MinimumHeatW > 0 {
		factor = f.lowestW / *f.plant.MinimumHeatW
	}
	if f.plant.DesignHeatLossW != nil {
		factor = larger(factor, f.lowestW/(lowestShareOfMax**f.plant.DesignHeatLossW))
	}
	return factor
}

// larger of two of which either may be NaN.
func larger(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

func (f *facts) minimumOutput() Cause {
	loadW := f.median(func(c cycle) float64 { return c.loadW })
	c := Cause{Kind: MinimumOutput, Title: "The lowest output is above what the house takes",
		Evidence: figures(
			Figure{"lowest output shown", f.lowestW / 1000, "kW", 1},
			Figure{"lowest output by the data sheet", kW(f.plant.MinimumHeatW), "kW", 1},
			Figure{"load at that outdoor temperature", loadW / 1000, "kW", 1},
			Figure{"outdoor temperature", f.median(func(c cycle) float64 { return c.outdoorC }), "°C", 0},
			Figure{"design heat loss", kW(f.plant.DesignHeatLossW), "kW", 1},
		)}
	factor := f.outputFactor()
	if f.lowestW < loadW { // the machine could have run on
		factor = min(factor, 1)
	}
	return likelyFrom(c, factor, "the lowest output of the data sheet (heat_pump.minimum_heat_kw) or the design heat loss")
}

func kW(w *float64) float64 { return value(w) / 1000 }

// figures leaves out what is not known.
func figures(all ...Figure) []Figure {
	return slices.DeleteFunc(all, func(f Figure) bool { return math.IsNaN(f.Value) || math.IsInf(f.Value, 0) })
}

// neededL is the water that holds a run of the shortest length at a swing.
func (f *facts) neededL(outputW, loadW float64) float64 {
	return (outputW - loadW) * f.plant.ShortRun.Seconds() / (f.perLK() * volumeSwingK)
}

func (f *facts) perLK() float64 {
	if f.plant.VolumeJPerLK > 0 {
		return f.plant.VolumeJPerLK
	}
	return joulePerLK
}

func (f *facts) littleWater() Cause {
	loadW := f.median(func(c cycle) float64 { return c.loadW })
	c := Cause{Kind: LittleWater, Title: "There is too little water, or mass as warm as it",
		Evidence: figures(
			Figure{"effective volume", f.capacityJ / f.perLK(), "l", 0},
			Figure{fmt.Sprintf("needed for %.0f min at a swing of %.0f K", f.plant.ShortRun.Minutes(), volumeSwingK), f.neededL(f.lowestW, loadW), "l", 0},
			Figure{"water warms by", f.median(func(c cycle) float64 { return c.riseK / (c.lengthS / 60) }), "K/min", 2},
			Figure{"output before the stop", f.median(func(c cycle) float64 { return c.outputW }) / 1000, "kW", 1},
		)}
	// What a machine of the right size would need is asked for, so that too
	// large a machine is not blamed on the water.
	rightW := f.lowestW / max(1, orOne(f.outputFactor()))
	ordinaryJ := max(rightW-loadW, leastSurplus*rightW) * lengthsPerCycle * f.plant.ShortRun.Seconds() / usableSwingK
	factor := ordinaryJ / f.capacityJ
	if f.capacityAtLeast && factor >= likelyFactor {
		factor = math.NaN()
	}
	return likelyFrom(c, factor, "runs long enough for the return to warm, with heat, outdoor temperature and the water's temperature at starts and stops")
}

func orOne(v float64) float64 {
	if math.IsNaN(v) {
		return 1
	}
	return v
}

// swing is what the flow temperature moves between stop and start, its
// difference at the stop, and that difference at the commissioned flow.
func (f *facts) swing() (swingK, differenceK, usualK float64) {
	swingK = f.median(func(c cycle) float64 { return c.swingK })
	differenceK = f.median(func(c cycle) float64 { return c.differenceK })
	usualK = differenceK
	if share := f.flowShare(); share < lowFlowShare {
		usualK *= share
	}
	return swingK, differenceK, usualK
}

// flowShare is the flow by the commissioned flow, NaN when not known.
func (f *facts) flowShare() float64 {
	return f.median(func(c cycle) float64 { return c.flowLPH }) / value(f.plant.CommissionedLPH)
}

func (f *facts) lowFlow() Cause {
	swingK, differenceK, usualK := f.swing()
	c := Cause{Kind: LowFlow, Title: "Too little flow: the flow gets hot before the water is warm",
		Evidence: figures(
			Figure{"flow", f.median(func(c cycle) float64 { return c.flowLPH }), "l/h", 0},
			Figure{"commissioned", value(f.plant.CommissionedLPH), "l/h", 0},
			Figure{"asked for at least", value(f.plant.MinimumFlowLPH), "l/h", 0},
			Figure{"difference at the stop", differenceK, "K", 1},
		)}
	factor := (swingK - usualK/2) / max(swingK-differenceK/2, leastUsableK)
	if math.IsNaN(f.flowShare()) {
		factor = math.NaN()
	}
	return likelyFrom(c, factor, "the flow rate and what it was when commissioned (commissioned.flow_rate_lph)")
}

func (f *facts) tightSwing() Cause {
	swingK, differenceK, usualK := f.swing()
	c := Cause{Kind: TightSwing, Title: "Stop and start lie too close together",
		Evidence: figures(
			Figure{"flow temperature falls from stop to start by", swingK, "K", 1},
			Figure{"difference at the stop", differenceK, "K", 1},
			Figure{"stops above target by", f.median(func(c cycle) float64 { return c.aboveK }), "K", 1},
		)}
	return likelyFrom(c, usableSwingK/max(swingK-usualK/2, leastUsableK), "the flow temperature at starts and stops")
}

func (f *facts) hotWater() Cause {
	share := f.share(func(c cycle) bool { return c.nearHotWater })
	c := Cause{Kind: HotWaterBetween, Title: "Hot water comes between", Finding: Unlikely,
		Evidence: figures(Figure{"runs right after or before hot water", 100 * share, "%", 0})}
	if share >= minShare {
		c.Finding, c.Share = Likely, share
	}
	return c
}

// minShare of the runs must a cause account for to be named.
const minShare = 0.2

// Of runs that the room ended (common practice, no source).
const (
	// A flow this much below its published target, or below the set curve,
	// which the controller may shift, was not warm enough to stop for.
	belowTargetK, belowCurveK = 1, 3
	// An output this many times the lowest had not been throttled yet.
	unthrottled = 1.4
	// A flow this much above its target, or above the set curve, may have been.
	aboveTargetK, aboveCurveK = 2, 4
	// Outputs and stops that differ by less are alike.
	alikeOutputs, alikeStopsK = 1.2, 1.2
	// Starts on the beat of a clock.
	onTheBeat                     = 0.6
	minStartsOnDay, minBeatStarts = 12, 40
	nearlyAll                     = 0.95
)

// roomDemand looks for runs that ended although the water was not too warm.
func (f *facts) roomDemand() Cause {
	beatMin, beat := f.beat()
	below := f.share(f.endedBelow)
	share := f.share(func(c cycle) bool { return f.endedBelow(c) || f.endedUnthrottled(c) })
	// Shortest run and shortest pause together make a beat of their own, but
	// then the water is too warm, and moves through the pause.
	tooWarm := f.median(func(c cycle) float64 { return c.aboveK }) > f.byTarget(aboveTargetK, aboveCurveK)
	wanted := f.share(func(c cycle) bool { return c.pumpedThrough }) > nearlyAll
	if beat >= onTheBeat && !tooWarm && !wanted {
		share = 1
	}
	c := Cause{Kind: RoomDemand, Title: "A room thermostat ends the runs", Finding: Unlikely,
		Evidence: figures(
			Figure{"runs ended below the target of the flow temperature", 100 * below, "%", 0},
			Figure{"stops above target by", f.median(func(c cycle) float64 { return c.aboveK }), "K", 1},
			Figure{"output before the stop", f.median(func(c cycle) float64 { return c.outputW }) / 1000, "kW", 1},
			Figure{"lowest output", f.knownLowestW() / 1000, "kW", 1},
			Figure{"pauses in which the pump stopped", 100 * f.share(func(c cycle) bool { return c.pumpCut }), "%", 0},
			Figure{fmt.Sprintf("starts on a beat of %.0f min", beatMin), 100 * beat, "%", 0},
		)}
	targetKnown := !math.IsNaN(f.median(func(c cycle) float64 { return c.aboveK }))
	switch {
	case share >= minShare:
		c.Finding, c.Share = Likely, min(share, 1-f.share(func(c cycle) bool { return c.nearHotWater }))
	case !targetKnown:
		c.Finding, c.Missing = Unknown, "the target of the flow temperature (flow_target) or the set heating curve"
	}
	return c
}

func (f *facts) endedBelow(c cycle) bool {
	return !c.nearHotWater && c.aboveK < -f.byTarget(belowTargetK, belowCurveK)
}

// byTarget picks the limit for how the target is known.
func (f *facts) byTarget(publishedK, curveK float64) float64 {
	if f.published {
		return publishedK
	}
	return curveK
}

// endedUnthrottled: a controller whose water gets too warm goes down to the
// lowest output first. Water that moves through the pause is still wanted.
func (f *facts) endedUnthrottled(c cycle) bool {
	return !c.nearHotWater && !c.pumpedThrough && c.aboveK < f.byTarget(aboveTargetK, aboveCurveK) && c.outputW > unthrottled*f.knownLowestW()
}

// knownLowestW is the lower of what was shown and what the data sheet says. But
// a machine that always stops at one output and, by the set curve, at one
// temperature was down at its lowest, whatever the data sheet says.
func (f *facts) knownLowestW() float64 {
	shownW, sheetW := orInf(f.lowestW), orInf(value(f.plant.MinimumHeatW))
	outputs := known(f.examined, func(c cycle) float64 { return c.outputW })
	stopsK := known(f.examined, func(c cycle) float64 { return c.aboveK })
	if !f.published && len(outputs) >= minExamined && len(stopsK) >= minExamined &&
		quantile(outputs, 0.9) < alikeOutputs*quantile(outputs, 0.1) && quantile(stopsK, 0.9)-quantile(stopsK, 0.1) < alikeStopsK {
		return shownW
	}
	return min(shownW, sheetW)
}

// beats are the usual cycles of thermostats that time their pulses: 2 to 6 an
// hour.
var beats = []float64{30, 20, 15, 12, 10}

// beat says how well starts keep to one of the beats within each day: 1 is by
// the clock, chance gives less than 0.5. It is NaN of too few starts.
func (f *facts) beat() (minutes, share float64) {
	byDay := map[string][]time.Time{}
	for _, c := range f.all {
		day := c.from.Format(time.DateOnly)
		byDay[day] = append(byDay[day], c.from)
	}
	minutes, share = beats[0], math.NaN()
	for _, beatMin := range beats {
		sum, count := 0.0, 0
		for _, day := range slices.Sorted(maps.Keys(byDay)) { // in one order, so that the sum is the same each time
			starts := byDay[day]
			if len(starts) >= minStartsOnDay {
				sum += float64(len(starts)) * concentration(starts, beatMin)
				count += len(starts)
			}
		}
		if count >= minBeatStarts && !(sum/float64(count) <= share) {
			minutes, share = beatMin, sum/float64(count)
		}
	}
	return minutes, share
}

// concentration is the length of the mean of unit vectors at the phase of each
// time within a period.
func concentration(times []time.Time, periodMin float64) float64 {
	x, y := 0.0, 0.0
	for _, at := range times {
		phase := 2 * math.Pi * math.Mod(float64(at.Unix())/60, periodMin) / periodMin
		x, y = x+math.Cos(phase), y+math.Sin(phase)
	}
	return math.Hypot(x, y) / float64(len(times))
}

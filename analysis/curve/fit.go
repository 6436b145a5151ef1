package curve

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"coldweek/analysis/emitter"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Known is what the record says of a site. Nil, zero or empty is not known.
type Known struct {
	Set                        []Point // by rising outdoor temperature
	MinimumFlowC, MaximumFlowC *float64
	DesignOutdoorC             *float64
	RoomSetC                   *float64 // of the rooms together
	Exponent                   float64  // of the emitters
	MinimumHeatW               *float64 // lowest output the machine holds
	Rooms                      []emitter.Room
}

// Verdict says what can be made of a plant's flow temperatures.
type Verdict string

// The verdicts.
const (
	Usable   Verdict = "usable"
	NoCurve  Verdict = "no usable curve"
	NotKnown Verdict = "not known"
)

// Fit is the curve that a plant was seen to follow. Where the verdict is not
// Usable only Why, Hours and the range of outdoor temperatures say anything.
type Fit struct {
	Verdict    Verdict
	Why        string  // of the verdict, for people
	Hours      float64 // of settled heating it stands on
	FromTarget bool    // from published targets, not from flow temperatures

	SlopeKPerK    robust.Estimate  // mean, from the design outdoor temperature to 15 °C; negative
	FlowAtDesignC *robust.Estimate // nil: no design outdoor temperature
	RMSK          float64          // of the hours about the curve
	Shape         Shape
	DampingH      float64 // time constant of the outdoor temperature
	// RoomSayKPerK is how many K the target rises for each K the rooms are short; nil
	// is none that could be seen, or no room temperatures.
	RoomSayKPerK *float64
	RoomsKnown   bool
	LowC, HighC  *float64 // limits at which the flow was seen to stay
	ColdestC     float64  // damped outdoor temperature, from which to which hours were seen
	MildestC     float64
	Hysteresis   *Hysteresis
	candidates   []candidate // the fits that explain the hours about equally well, the best believed first
}

const (
	// fewestHours of settled heating make a curve, and a span of outdoor
	// temperature as wide as this (common practice, no source).
	fewestHours, leastSpanK = 24, 4
	// asGood: a fit whose residuals are at most so much larger is as good.
	asGood = 1.1
	// flattest: a curve that falls less is none. Floors of well insulated houses
	// need 0.25 K per K (common practice, no source).
	flattest = 0.15
	// scatterK about a curve that explains less than half of it is none.
	scatterK = 2
	// leastSay and mostSay bound what a controller lets a K in the room do.
	leastSay, mostSay = 0.1, 6
	// Doubts of what is not in the readings, 95 % (common practice, no source):
	// the steps in which targets are published, what a room may have had a say in
	// where none is measured, what the flow may lie beside its target, and how far
	// a controller's own curve departs from a shape that was not set, within what
	// was seen and for each K beyond.
	stepDoubtK, roomDoubtK, flowDoubtK = 0.15, 0.7, 0.4
	shapeDoubtK, beyondDoubt           = 0.3, 0.05
)

// candidate is one fit of one shape at one damping.
type candidate struct {
	shape    shape
	dampingH float64
	rooms    bool // the third coefficient is the rooms' say
	r        *regression
	*seen
	widening float64 // of its interval, for hours that follow each other
}

// Of reads the hours of a span.
func Of(s *siteday.Sums, k Known) *Fit {
	f := &Fit{Verdict: NotKnown}
	samples, fromTarget := k.samples(s)
	f.FromTarget = fromTarget
	for i := range samples {
		f.Hours += samples[i].weight
	}
	if why := tooLittle(s, samples); why != "" {
		f.Why = why
		f.judgeUnsettled(s, &k)
		return f
	}
	f.search(s.Hours, samples, &k)
	if len(f.candidates) == 0 {
		f.Why = "the outdoor temperature is not known for the hours of settled heating"
		return f
	}
	f.read(s, &k)
	f.judge(s, &k)
	return f
}

func tooLittle(s *siteday.Sums, samples []sample) string {
	if len(samples) < fewestHours {
		return fmt.Sprintf("%d hours of settled heating; it takes %d", len(samples), fewestHours)
	}
	var outdoorC []float64
	for _, one := range samples {
		if c, ok := s.Hours[one.hour].Outdoor.Of(); ok {
			outdoorC = append(outdoorC, c)
		}
	}
	if len(outdoorC) < fewestHours {
		return "the outdoor temperature is not known"
	}
	if lowC, highC := ends(outdoorC); highC-lowC < leastSpanK {
		return fmt.Sprintf("the outdoor temperature moved by %.1f K only, between %.0f and %.0f °C", highC-lowC, lowC, highC)
	}
	return ""
}

// ends are the values between which all but a fortieth at each end lie.
func ends(values []float64) (low, high float64) {
	sorted := slices.Sorted(slices.Values(values))
	cut := len(sorted) / 40
	return sorted[cut], sorted[len(sorted)-1-cut]
}

// search fits all shapes at all dampings; hours at a limit that shows are left
// out and the rest is fitted again.
func (f *Fit) search(hours []siteday.Hour, samples []sample, k *Known) {
	outdoorC := allDamped(hours)
	coldestC := coldest(hours)
	best := bestFits(newView(samples, outdoorC), k.shapes(coldestC), nil)
	if len(best) == 0 {
		return
	}
	if lowC, highC, rest := best[0].limits(); lowC != nil || highC != nil {
		if again := bestFits(newView(rest, outdoorC), k.shapes(coldestC), best); len(again) > 0 {
			f.LowC, f.HighC, best = lowC, highC, again
		}
	}
	f.candidates = best
}

// bestFits returns the fits that are as good as the best, one of each shape, in
// the order in which shapes are believed. The dampings of fits to much the same
// samples are tried first.
func bestFits(v *view, shapes []shape, like []candidate) []candidate {
	var found []candidate
	bestK := math.Inf(1)
	rooms := roomsVary(v.samples)
	for _, sh := range shapes {
		var best *candidate
		for _, damping := range dampingsLike(like, sh.name) {
			belowK := math.Inf(1)
			if best != nil {
				belowK = best.r.absoluteK
			}
			c, ok := fitOne(v, sh, damping, rooms, belowK)
			if ok && c.r.absoluteK < belowK {
				best = &c
			}
		}
		if best != nil && best.refine() {
			found = append(found, *best)
			bestK = min(bestK, best.r.absoluteK)
		}
	}
	return slices.DeleteFunc(found, func(c candidate) bool { return c.r.absoluteK > asGood*bestK+leastScaleK/5 })
}

// dampingsLike are all dampings, beginning with that of a fit of the same shape or
// with a usual one, and then away from it: a good fit at once rules most others out
// before they are finished.
func dampingsLike(like []candidate, name Shape) []int {
	first := slices.Index(dampingsH, usualDampingH)
	for i := range like {
		if like[i].shape.name == name {
			first = slices.Index(dampingsH, like[i].dampingH)
		}
	}
	order := []int{first}
	for away := 1; len(order) < len(dampingsH); away++ {
		for _, d := range []int{first - away, first + away} {
			if d >= 0 && d < len(dampingsH) {
				order = append(order, d)
			}
		}
	}
	return order
}

func coldest(hours []siteday.Hour) float64 {
	coldestC := math.Inf(1)
	for i := range hours {
		if c, ok := hours[i].Outdoor.Of(); ok {
			coldestC = min(coldestC, c)
		}
	}
	return coldestC
}

// roomsVary says whether a room's say could be seen: rooms are known and move.
func roomsVary(samples []sample) bool {
	var known []float64
	for _, one := range samples {
		if !math.IsNaN(one.roomShortK) {
			known = append(known, one.roomShortK)
		}
	}
	if len(known) < fewestHours || 10*len(known) < 9*len(samples) {
		return false
	}
	low, high := ends(known)
	return high-low >= 0.3
}

// fitOne fits one shape at one damping, with the rooms' say where it makes sense.
// It may give up a fit that is not below a limit; without the rooms' say it would be
// no better, on the same hours.
func fitOne(v *view, sh shape, damping int, rooms bool, belowK float64) (candidate, bool) {
	c := candidate{shape: sh, dampingH: dampingsH[damping], rooms: rooms, seen: v.seen(damping, rooms)}
	giveUpK := belowK
	if rooms && len(v.seen(damping, false).used) != len(c.used) {
		giveUpK = math.Inf(1)
	}
	if len(c.used) < fewestHours || !c.fit(giveUpK) {
		return c, false
	}
	if say := c.say(); rooms && (say < leastSay || say > mostSay) {
		return fitOne(v, sh, damping, false, belowK)
	}
	return c, true
}

func (c *candidate) fit(belowK float64) bool {
	size := make([]float64, len(c.outdoorC))
	for i, outdoorC := range c.outdoorC {
		size[i] = c.shape.at(outdoorC)
	}
	return c.fitTo(size, belowK)
}

// fitTo fits values of the shape at the hours, see regress.
func (c *candidate) fitTo(size []float64, belowK float64) bool {
	columns := [][]float64{size}
	if c.rooms {
		columns = append(columns, c.shortK)
	}
	r, ok := regress(columns, c.flowC, c.weight, belowK)
	c.r = r
	return ok
}

// refine makes a fit whose intervals can be asked for.
func (c *candidate) refine() bool {
	ok := c.r.refine()
	c.widening = c.widen()
	return ok
}

func (c *candidate) say() float64 {
	if !c.rooms {
		return 0
	}
	return c.r.coefficient[2]
}

// widen turns a deviation into half a 95 % interval, as if there were only as
// many hours as do not follow the one before.
func (c *candidate) widen() float64 {
	series := make([]float64, c.used[len(c.used)-1].hour+1)
	for i := range series {
		series[i] = math.NaN()
	}
	for i, one := range c.used {
		series[one.hour] = c.r.residualK[i]
	}
	rho, _ := robust.Autocorrelation(series)
	alone := robust.EffectiveSize(len(c.used), min(rho, 0.95))
	student := distuv.StudentsT{Sigma: 1, Nu: max(alone-3, 2)}
	return student.Quantile(0.975) * math.Sqrt(float64(len(c.used))/alone)
}

// at is the curve with the rooms at their set point.
func (c *candidate) at(outdoorC float64) robust.Estimate {
	v, valueC := c.combination(outdoorC), c.level(outdoorC)
	half := c.widening * c.r.deviation(v)
	return robust.Estimate{Value: valueC, Low: valueC - half, High: valueC + half}
}

// level is the curve without its doubt.
func (c *candidate) level(outdoorC float64) float64 {
	return c.r.coefficient[0] + c.shape.at(outdoorC)*c.r.coefficient[1]
}

func (c *candidate) combination(outdoorC float64) []float64 {
	v := make([]float64, len(c.r.coefficient))
	v[0], v[1] = 1, c.shape.at(outdoorC)
	return v
}

// slope is the mean one between two outdoor temperatures.
func (c *candidate) slope(coldC, warmC float64) robust.Estimate {
	v := make([]float64, len(c.r.coefficient))
	v[1] = (c.shape.at(warmC) - c.shape.at(coldC)) / (warmC - coldC)
	value, half := v[1]*c.r.coefficient[1], c.widening*c.r.deviation(v)
	return robust.Estimate{Value: value, Low: value - half, High: value + half}
}

// over widens the first candidate's estimate to hold those of the others.
func (f *Fit) over(estimate func(c *candidate) robust.Estimate) robust.Estimate {
	all := estimate(&f.candidates[0])
	for i := range f.candidates[1:] {
		e := estimate(&f.candidates[i+1])
		all.Low, all.High = min(all.Low, e.Low), max(all.High, e.High)
	}
	return all
}

// FlowC is the curve at an outdoor temperature, rooms at their set point. A
// limit at which the targets stayed holds; one at which the flow stayed may as
// well have been the machine's.
func (f *Fit) FlowC(outdoorC float64) robust.Estimate {
	e := f.over(func(c *candidate) robust.Estimate { return c.at(outdoorC) })
	e = widened(e, f.doubtK(outdoorC))
	for _, v := range []*float64{&e.Value, &e.Low, &e.High} {
		if f.FromTarget && f.LowC != nil {
			*v = max(*v, *f.LowC)
		}
		if f.FromTarget && f.HighC != nil {
			*v = min(*v, *f.HighC)
		}
	}
	return e
}

func widened(e robust.Estimate, doubt float64) robust.Estimate {
	return robust.Estimate{Value: e.Value, Low: e.Value - math.Hypot(e.Value-e.Low, doubt), High: e.Value + math.Hypot(e.High-e.Value, doubt)}
}

// doubtK is what is not in the readings, at an outdoor temperature.
func (f *Fit) doubtK(outdoorC float64) float64 {
	doubt := stepDoubtK
	if !f.RoomsKnown {
		doubt = math.Hypot(doubt, roomDoubtK)
	}
	if !f.FromTarget {
		doubt = math.Hypot(doubt, flowDoubtK)
	}
	if f.Shape != AsSet {
		beyondK := max(f.ColdestC-outdoorC, outdoorC-f.MildestC, 0)
		doubt = math.Hypot(doubt, shapeDoubtK+beyondDoubt*beyondK)
	}
	return doubt
}

// read fills in the figures from the fits.
func (f *Fit) read(s *siteday.Sums, k *Known) {
	c := &f.candidates[0]
	f.Shape, f.DampingH, f.RoomsKnown = c.shape.name, c.dampingH, roomsVary(c.used)
	if c.rooms {
		f.RoomSayKPerK = new(c.say())
	}
	f.ColdestC, f.MildestC = slices.Min(c.outdoorC), slices.Max(c.outdoorC)
	coldC := f.ColdestC
	if k.DesignOutdoorC != nil {
		coldC = *k.DesignOutdoorC
		f.FlowAtDesignC = new(f.FlowC(coldC))
	}
	warmC := max(mildC, coldC+1)
	slope := f.over(func(c *candidate) robust.Estimate { return c.slope(coldC, warmC) })
	f.SlopeKPerK = widened(slope, math.Hypot(f.doubtK(coldC), f.doubtK(warmC))/(warmC-coldC))
	squares, total := 0.0, 0.0
	for i, residual := range c.r.residualK {
		squares += c.used[i].weight * residual * residual
		total += c.used[i].weight
	}
	f.RMSK, f.Hours = math.Sqrt(squares/total), total
	f.Hysteresis = f.hysteresis(s, k)
}

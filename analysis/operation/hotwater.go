package operation

import (
	"math"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// findHotWater tells hot water from heating in the running intervals: as the
// mode says, and elsewhere by the likelier of two courses of events.
func (d *detector) findHotWater() {
	charging := make([]bool, len(d.running))
	unsure := false
	for i := range charging {
		m, ok := d.modeAt(i)
		charging[i] = ok && m == ingest.ModeHotWater
		unsure = unsure || !ok && d.running[i]
	}
	if unsure && d.t.FlowC != nil {
		d.guessHotWater(charging)
	}
	d.markHotWater(charging)
}

// markHotWater sets states and lists the runs. A defrost between two parts of
// a run belongs to it.
func (d *detector) markHotWater(charging []bool) {
	open := -1
	for i := range charging {
		switch {
		case charging[i] && d.running[i]:
			if open < 0 {
				open = len(d.op.HotWater)
				d.op.HotWater = append(d.op.HotWater, HotWaterRun{First: i})
			}
			d.op.HotWater[open].Last = i + 1
			if d.op.State[i] != Defrost {
				d.op.State[i] = HotWater
			}
		case d.op.State[i] != Defrost && d.known(i):
			open = -1
		}
	}
}

// guessHotWater finds the likeliest course of heating and hot water through
// the intervals without a mode (Viterbi 1967): each minute speaks for one of
// them, and a changeover must pay for itself.
func (d *detector) guessHotWater(charging []bool) {
	evidence := d.hotWaterEvidence()
	const changeover = 5.0 // in the unit of evidence: two clear minutes
	n := len(d.running)
	fromOther := make([][2]bool, n)
	score := [2]float64{} // of heating, of hot water
	for i := range n {
		cost := changeover
		if !d.running[i] {
			cost = 0 // at rest, either may come next
		}
		next := score
		for s := range next {
			if other := score[1-s] - cost; other > score[s] {
				next[s], fromOther[i][s] = other, true
			}
		}
		next[1] += evidence[i]
		score = next
	}
	state := 0
	if score[1] > score[0] {
		state = 1
	}
	for i := n - 1; i >= 0; i-- {
		if _, ok := d.modeAt(i); !ok {
			charging[i] = state == 1
		}
		if fromOther[i][state] {
			state = 1 - state
		}
	}
}

// clues are what tells hot water from heating at this plant.
type clues struct {
	heating              band
	aboveLog             float64 // of the band's spread, see likelihoodLog
	heatingFlow          pumpLine
	spread               float64 // of the flow rates, as a share
	hotWaterLPH          float64 // 0 while not known apart from heating
	cylinderRiseKPerHour []float64
	returnRiseKPerHour   []float64
	climbing             []bool // the return climbs before and after
}

const (
	// hotWaterRangeK is the range over which flow temperatures of hot water
	// are taken as evenly likely.
	hotWaterRangeK = 45
	// belowSpreadK: below its band the flow may come from a start or a
	// defrost, so being colder tells little.
	belowSpreadK = 8
	// clearlyK above the band is hot water enough to learn its flow rate from.
	clearlyK = 6
	// most that one clue says in a minute.
	mostPerMinute = 3.0
	// minApart is how far apart, as a share, two flow rates are told; their
	// spread is never taken for less than half of it.
	minApart = 0.012
	// A charging cylinder warms at least so fast, one at rest does not.
	risingKPerHour, restingKPerHour = 3.0, 0.5
	// A return temperature that moves more slowly stands still.
	standingKPerHour = 1.5
	// One that climbs faster, once a run has been warm for a while, goes with a
	// charging cylinder.
	climbingKPerHour, warmedUpS = 8.0, 20 * 60
	// Rises are taken over windows long enough for sensors of 0.1 K.
	cylinderWindowS, returnWindowS, climbWindowS = 10 * 60.0, 20 * 60.0, 5 * 60.0
	// They leave out the first and last moments of a run.
	settlingS = 60
	// flowSamples are enough to know both flow rates by.
	flowSamples = 1500
)

// hotWaterEvidence returns for each interval what it says for hot water
// (positive) or heating (negative).
func (d *detector) hotWaterEvidence() []float64 {
	c := clues{
		heating:              d.learnHeatingBand(),
		cylinderRiseKPerHour: d.rise(d.t.Mean(ingest.Channel(ingest.CylinderTemp)), cylinderWindowS/2, cylinderWindowS/2),
		returnRiseKPerHour:   d.rise(d.t.ReturnC, returnWindowS/2, returnWindowS/2),
		climbing:             d.climbing(),
	}
	c.aboveLog = likelihoodLog(max(c.heating.spreadK, leastSpreadK))
	d.learnFlowRates(&c)
	evidence := make([]float64, len(d.running))
	warmS := 0.0 // since the start or the last defrost
	for i := range evidence {
		if !d.running[i] || d.op.State[i] == Defrost {
			warmS = 0
			continue
		}
		warmS += d.t.DurS[i]
		perMinute := d.byFlowTemp(&c, i) + d.byFlowRate(&c, i) + d.byCylinder(&c, i) + d.byRise(&c, i, warmS)
		if c.flat(i) {
			perMinute = min(perMinute, -1)
		}
		evidence[i] = perMinute * min(d.t.DurS[i]/60, 2)
	}
	return evidence
}

// learnHeatingBand takes settled running intervals, thinned out.
func (d *detector) learnHeatingBand() band {
	var outdoorC, flowC []float64
	step := max(len(d.running)/bandPoints, 1)
	for i := 0; i < len(d.running); i += step {
		if !d.running[i] || d.op.State[i] == Defrost || math.IsNaN(d.t.FlowC[i]) || !(d.diffK[i] > 1) {
			continue
		}
		out := trace.At(d.t.OutdoorC, i)
		if math.IsNaN(out) {
			out = 0
		}
		outdoorC, flowC = append(outdoorC, out), append(flowC, d.t.FlowC[i])
	}
	return learnBand(outdoorC, flowC)
}

// likelihoodLog is the logarithm of how much denser the even range of hot water
// is than the middle of a normal spread.
func likelihoodLog(spreadK float64) float64 {
	return math.Log(spreadK * math.Sqrt(2*math.Pi) / hotWaterRangeK)
}

var belowLog = likelihoodLog(belowSpreadK)

func clip(v float64) float64 { return min(max(v, -mostPerMinute), mostPerMinute) }

// byFlowTemp compares the band of heating with the wide range of hot water.
func (d *detector) byFlowTemp(c *clues, i int) float64 {
	flowC := d.t.FlowC[i]
	if !c.heating.known || math.IsNaN(flowC) {
		return 0
	}
	aboveK := flowC - c.heating.at(trace.At(d.t.OutdoorC, i))
	z, offset := aboveK/c.heating.spreadK, c.aboveLog
	if aboveK < 0 {
		z, offset = aboveK/belowSpreadK, belowLog
	}
	return clip(z*z/2 + offset)
}

// byFlowRate compares the flow rates of both, where they are known apart.
func (d *detector) byFlowRate(c *clues, i int) float64 {
	lph := trace.At(d.t.FlowLPH, i)
	if c.hotWaterLPH == 0 || math.IsNaN(lph) {
		return 0
	}
	heatingLPH := c.heatingFlow.at(trace.At(d.t.PowerW, i))
	heating, hotWater := (lph/heatingLPH-1)/c.spread, (lph/c.hotWaterLPH-1)/c.spread
	return clip((heating*heating - hotWater*hotWater) / 2)
}

// byCylinder asks whether the cylinder gets warmer.
func (d *detector) byCylinder(c *clues, i int) float64 {
	switch rise := trace.At(c.cylinderRiseKPerHour, i); {
	case rise > risingKPerHour:
		return 2
	case rise < restingKPerHour:
		return -2
	}
	return 0
}

// byRise asks whether the return climbs steadily in a run that has long been
// warm, at flow temperatures that both could have.
func (d *detector) byRise(c *clues, i int, warmS float64) float64 {
	if warmS > warmedUpS && c.climbing[i] && d.t.FlowC[i] > c.heating.at(trace.At(d.t.OutdoorC, i))-2*c.heating.spreadK {
		return 2
	}
	return 0
}

// learnFlowRates takes the flow rate of hot water from intervals clearly above
// the heating band, that of heating, which may follow the output, from those
// in it.
func (d *detector) learnFlowRates(c *clues) {
	if d.t.FlowLPH == nil || !c.heating.known {
		return
	}
	var heatingW, heatingLPH, hotWaterLPH []float64
	step := max(len(d.running)/flowSamples, 1)
	for i := 0; i < len(d.running); i += step {
		lph := d.t.FlowLPH[i]
		if !d.running[i] || d.op.State[i] == Defrost || math.IsNaN(lph+d.t.FlowC[i]+trace.At(d.t.PowerW, i)) {
			continue
		}
		switch aboveK := d.t.FlowC[i] - c.heating.at(trace.At(d.t.OutdoorC, i)); {
		case c.flat(i) || aboveK < 2*c.heating.spreadK:
			heatingW, heatingLPH = append(heatingW, d.t.PowerW[i]), append(heatingLPH, lph)
		case aboveK > max(clearlyK, 3*c.heating.spreadK):
			hotWaterLPH = append(hotWaterLPH, lph)
		}
	}
	const few = 10
	if len(heatingLPH) < few || len(hotWaterLPH) < few {
		return
	}
	c.hotWaterLPH = medianOf(hotWaterLPH)
	c.heatingFlow = learnPumpLine(heatingW, heatingLPH)
	c.spread = max(c.heatingFlow.spread(heatingW, heatingLPH), spreadOf(hotWaterLPH, c.hotWaterLPH), minApart/2)
	if math.Abs(c.hotWaterLPH/c.heatingFlow.highestLPH-1) < max(minApart, 1.5*c.spread) {
		c.hotWaterLPH = 0
	}
}

// flat says whether the return temperature has stood still for a good while:
// a cylinder that takes in heat sends back ever warmer water.
func (c *clues) flat(i int) bool {
	return math.Abs(trace.At(c.returnRiseKPerHour, i)) < standingKPerHour
}

// rise is how fast a temperature climbs around each interval, from the means
// at both ends of a window; NaN where too little of the window is known, nil
// without the column. The window does not reach beyond the run.
func (d *detector) rise(columnC []float64, beforeS, afterS float64) []float64 {
	if columnC == nil {
		return nil
	}
	rise := unknown(len(columnC))
	d.eachRun(func(first, last int) {
		begin, end := d.inner(first, last)
		d.windows(begin, end, beforeS, afterS, func(i, a, b int) {
			// The values are means of intervals: their middles lie this far apart.
			if s := d.seconds(a, b) + (d.t.DurS[b]-d.t.DurS[a])/2; s >= (beforeS+afterS)/3 {
				rise[i] = (columnC[b] - columnC[a]) / s * 3600
			}
		})
		for i := first; i < begin; i++ {
			rise[i] = rise[begin]
		}
		for i := end; i < last; i++ {
			rise[i] = rise[end-1]
		}
	})
	return rise
}

// eachRun calls for every stretch of running intervals.
func (d *detector) eachRun(found func(first, last int)) {
	d.spans(func(i int) bool { return d.running[i] }, found)
}

// climbing says for each interval whether the return climbs steeply both
// before and after it.
func (d *detector) climbing() []bool {
	climbs := make([]bool, len(d.running))
	if d.t.ReturnC == nil {
		return climbs
	}
	d.eachRun(func(first, last int) {
		begin, end := d.inner(first, last)
		d.windows(begin, end, climbWindowS, climbWindowS, func(i, a, b int) {
			climbs[i] = d.climbs(a, i) && d.climbs(i, b)
		})
	})
	return climbs
}

// climbs says whether the return climbs steeply from interval a to b, far
// enough apart to tell.
func (d *detector) climbs(a, b int) bool {
	s := d.seconds(a, b)
	return s >= climbWindowS/3 && (d.t.ReturnC[b]-d.t.ReturnC[a])*3600 > climbingKPerHour*s
}

// inner is a run without its first and last moments, in which the water is on
// its way from rest or to it.
func (d *detector) inner(first, last int) (begin, end int) {
	begin, end = first, last
	for begin+1 < end && d.seconds(first, begin) < settlingS {
		begin++
	}
	for end-1 > begin && d.seconds(end, last) < settlingS {
		end--
	}
	return begin, end
}

// windows calls for each interval first <= i < last with the first and the last
// interval that lie within reach of it before and after.
func (d *detector) windows(first, last int, beforeS, afterS float64, look func(i, a, b int)) {
	a, b := first, first
	for i := first; i < last; i++ {
		for d.seconds(a, i) > beforeS {
			a++
		}
		b = max(b, i)
		for b+1 < last && d.seconds(i, b+1) < afterS {
			b++
		}
		look(i, a, b)
	}
}

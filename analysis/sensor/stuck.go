package sensor

import (
	"fmt"
	"math"

	"coldweek/analysis/operation"
	"coldweek/ingest"
)

// A reading that stands still is stuck only if something else moved that cannot
// move without it (common practice, no source).
const (
	// Of flow and return in moving water, one stands to the last digit while the
	// other goes through movedK; a floor's screed holds the return nearly still for
	// hours. A sensor in steps of half a degree can stand longer.
	movedK, stillWaterBlocks             = 3.0, 3 * blocksPerH
	coarseWaterK                         = 0.5
	movedCoarseK, stillCoarseWaterBlocks = 8.0, 12 * blocksPerH
	enoughStillBlocks                    = 6
	// Electricity stands while heat is given for givenS without a compressor, or
	// none is for noneS with one.
	givenS, noneS = 45 * 60, 30 * 60
	// A flow rate to the last digit the same through starts and stops, for
	// enoughFlowBlocks. A multiple of coarseLPH may be the meter's step.
	enoughFlowBlocks, coarseLPH = 18, 10
	// No flow while the compressor runs on and warms the flow pipe by givingK.
	noFlowS = 3600
	// A cylinder above warmCylinderC loses some 0.1 K an hour at least, and shows
	// it when it is charged for chargedS.
	stillCylinderK, stillCylinderMS, warmCylinderC = 0.2, 12 * hourMS, 30
	chargedS                                       = 20 * 60
	// A room to the last digit the same; a multiple of coarseRoomK may be the
	// thermostat's step.
	stillRoomMS, coarseRoomK = 18 * hourMS, 0.5
)

// stretch of blocks, first <= k < last.
type stretch struct{ first, last int }

// stuck looks at one quantity after the other.
func (l *look) stuck() []Suspicion {
	var found []Suspicion
	add := func(ch ingest.Channel, s stretch, value float64, why string) {
		if s.last > s.first {
			found = append(found, l.stuckFor(ch, l.blockStart(s.first), l.blockStart(s.last), value, why))
		}
	}
	flowC := func(b *block) *span { return &b.flowC }
	returnC := func(b *block) *span { return &b.returnC }
	s, value := l.stuckWater(ingest.FlowTemp, flowC, returnC)
	add(ingest.Channel(ingest.FlowTemp), s, value, "while the return temperature moved")
	s, value = l.stuckWater(ingest.ReturnTemp, returnC, flowC)
	add(ingest.Channel(ingest.ReturnTemp), s, value, "while the flow temperature moved")
	s, value, why := l.stuckPower()
	add(ingest.Channel(ingest.Power), s, value, why)
	s, value, why = l.stuckFlow()
	add(ingest.Channel(ingest.FlowRate), s, value, why)
	return append(append(found, l.stuckCylinder()...), l.stuckRooms()...)
}

// stuckWater looks at one of flow and return while the other moves.
func (l *look) stuckWater(q ingest.Quantity, of, other func(b *block) *span) (stretch, float64) {
	blocks, moved := stillWaterBlocks, movedK
	if coarse(l.column(q), coarseWaterK) {
		blocks, moved = stillCoarseWaterBlocks, movedCoarseK
	}
	return l.stillWhile(of, 0, func(first, last int) bool {
		return last-first >= blocks && l.reach(other, first, last) > moved
	})
}

// coarse says whether all values are multiples of a step.
func coarse(c ingest.Column, step float64) bool {
	for _, v := range c.Value {
		if !multiple(v, step) {
			return false
		}
	}
	return true
}

func multiple(v, step float64) bool { return math.Abs(v/step-math.Round(v/step)) < 1e-6 }

// stillWhile returns the longest stretch of blocks over which a quantity stays
// within withinValue and that is long and lively enough otherwise.
func (l *look) stillWhile(of func(b *block) *span, withinValue float64, enough func(first, last int) bool) (best stretch, value float64) {
	first := 0
	var all span
	for k := 0; k <= len(l.blocks); k++ {
		var next span
		if k < len(l.blocks) {
			next = *of(&l.blocks[k])
		}
		joined := all
		joined.join(next)
		if k < len(l.blocks) && joined.reach() <= withinValue {
			all = joined
			continue
		}
		if k-first > best.last-best.first && all.s > 0 && enough(first, k) {
			best, value = stretch{first, k}, all.mean()
		}
		first, all = k, next
		if next.reach() > withinValue {
			first, all = k+1, span{}
		}
	}
	return best, value
}

// reach of a quantity over blocks.
func (l *look) reach(of func(b *block) *span, first, last int) float64 {
	var all span
	for k := first; k < last; k++ {
		all.join(*of(&l.blocks[k]))
	}
	return all.reach()
}

func (l *look) stuckPower() (stretch, float64, string) {
	powerW := func(b *block) *span { return &b.powerW }
	why := ""
	s, value := l.stillWhile(powerW, 0, func(first, last int) bool {
		giving, resting := 0.0, 0.0
		for k := first; k < last; k++ {
			giving += l.blocks[k].givingS
			resting += l.blocks[k].restingS
		}
		w := l.blocks[first].powerW.low
		switch on := w > l.runningW(); {
		case last-first < enoughStillBlocks:
			return false
		case !on && giving > givenS:
			why = "while heat was given as by a running compressor"
		case on && resting > noneS && giving > noneS:
			why = "while the compressor evidently stopped and started"
		default:
			return false
		}
		return true
	})
	return s, value, why
}

// runningW is the least power that means a running compressor.
func (l *look) runningW() float64 {
	if l.op.Levels.Known() {
		return l.op.Levels.OnW
	}
	return leastRunningW
}

func (l *look) stuckFlow() (stretch, float64, string) {
	flowLPH := func(b *block) *span { return &b.flowLPH }
	why := ""
	s, value := l.stillWhile(flowLPH, 0, func(first, last int) bool {
		running, resting, diffKS := 0.0, 0.0, 0.0
		for k := first; k < last; k++ {
			running += l.blocks[k].runS
			diffKS += l.blocks[k].runFlowC.valueS - l.blocks[k].runReturnC.valueS
			resting += float64(blockMS)/1000 - l.blocks[k].runS
		}
		switch lph := l.blocks[first].flowLPH.low; {
		case lph == 0 && running > noFlowS && diffKS > givingK*running:
			why = "while the compressor ran, which it cannot for long without flow"
		case lph > 0 && !multiple(lph, coarseLPH) && last-first >= enoughFlowBlocks && running > noneS && resting > noneS:
			why = "to the last digit, while the compressor stopped and started"
		default:
			return false
		}
		return true
	})
	return s, value, why
}

// stuckCylinder finds a cylinder that neither cools nor is charged, or shows
// nothing of being charged where the mode tells that it was.
func (l *look) stuckCylinder() []Suspicion {
	c := l.column(ingest.CylinderTemp)
	if c.Len() == 0 {
		return nil
	}
	sinceMS, untilMS := stillSince(c, stillCylinderK)
	value := c.Value[c.Len()-1]
	if value > warmCylinderC && untilMS-sinceMS >= stillCylinderMS {
		return []Suspicion{l.stuckFor(c.Channel, sinceMS, untilMS, value, "while a warm cylinder cools and is charged")}
	}
	if charged := l.chargedWithin(sinceMS, untilMS); charged >= chargedS {
		return []Suspicion{l.stuckFor(c.Channel, sinceMS, untilMS, value, "while the cylinder was charged")}
	}
	return nil
}

// chargedWithin is how long the mode was hot water with the compressor running.
func (l *look) chargedWithin(fromMS, toMS int64) (s float64) {
	mode := l.t.Mean(ingest.Channel(ingest.ModeQuantity))
	for i := range mode {
		if mode[i] == float64(ingest.ModeHotWater) && l.running(i) && l.t.EdgeMS[i] >= fromMS && l.t.EdgeMS[i+1] <= toMS {
			s += l.t.DurS[i]
		}
	}
	return s
}

// stillSince returns since when a column has stayed near its last value.
func stillSince(c ingest.Column, withinValue float64) (sinceMS, untilMS int64) {
	first := c.Len() - 1
	for first > 0 && math.Abs(c.Value[first-1]-c.Value[c.Len()-1]) <= withinValue {
		first--
	}
	return c.UnixMS[first], c.UnixMS[c.Len()-1]
}

func (l *look) stuckRooms() []Suspicion {
	var found []Suspicion
	for _, q := range []ingest.Quantity{ingest.RoomTemp, ingest.FloorTemp} {
		for _, ch := range l.t.Channels(q) {
			c, _ := l.t.Column(ch)
			sinceMS, untilMS := stillSince(c, 0)
			if value := c.Value[c.Len()-1]; !multiple(value, coarseRoomK) && untilMS-sinceMS >= stillRoomMS && l.heated() {
				found = append(found, l.stuckFor(ch, sinceMS, untilMS, value, "to the last digit, while the plant heated"))
			}
		}
	}
	return found
}

// heated says whether the plant heated at all.
func (l *look) heated() bool {
	for _, run := range l.op.Runs {
		if l.op.State[run.First] == operation.Heating {
			return true
		}
	}
	return false
}

func (l *look) stuckFor(ch ingest.Channel, fromMS, toMS int64, value float64, why string) Suspicion {
	hours := float64(toMS-fromMS) / 3.6e6
	return Suspicion{
		Kind: Stuck, Channels: []ingest.Channel{ch}, Since: utc(fromMS), Until: utc(toMS),
		Size: hours, Low: hours, High: hours, Unit: "h",
		Detail: fmt.Sprintf("%s has stood at %.4g %s for %.1f h %s: the sensor, its wiring or its publisher is stuck", ch, value, ch.Unit().Symbol(), hours, why),
	}
}

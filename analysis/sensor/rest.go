package sensor

import (
	"fmt"
	"math"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

// At rest, water passes the return sensor, then what lies between, then the
// flow sensor; both should show the same but for the time it takes and the heat
// it loses on the way. How much lies between is not known (common practice, no
// source): some litres of condenser and pipe that lose some W/K.
const (
	betweenL, betweenBandL           = 11.0, 9.0
	betweenWPerK, betweenBandWPerK   = 2.5, 2.0
	assumedOutdoorC                  = 5.0
	waterWhPerLK                     = 1.155 // near 40 °C, IAPWS-IF97
	resolutionDoubtK, residualDoubtK = 0.08, 0.05
	// Water counts from leastRestS after the stop, when neither sensor has moved
	// by settledWaterK nor their difference by settledK for settleS: after
	// leastSettled intervals of leastSettledS together. Before restedS the
	// condenser may still be warm.
	leastRestS, restedS, settleS = 5 * 60.0, 10 * 60.0, 120.0
	settledWaterK, settledK      = 0.5, 0.2
	leastSettledS, leastSettled  = 60.0, 2
	warmCondenserDoubtK          = 0.1
	// A pair within pairToleranceK is a good one; more than mostOffsetK is no
	// offset but heat.
	pairToleranceK, mostOffsetK = 0.15, 3.0
)

// rest is one pause with water moving, from when it had settled.
type rest struct {
	first, last int
	offsetK     float64
	doubtK      float64 // 95 %
}

// pairOffset compares flow and return in pauses. Of pauses that disagree the
// later ones count: somebody may have moved a sensor.
func (l *look) pairOffset() (Suspicion, bool) {
	var rests [maxRests]rest
	n := l.rests(&rests)
	if n == 0 {
		return Suspicion{}, false
	}
	first, offsetK, doubtK := alike(rests[:n])
	if !(math.Abs(offsetK)-doubtK > pairToleranceK) || math.Abs(offsetK) > mostOffsetK {
		return Suspicion{}, false
	}
	s := Suspicion{
		Kind: PairOffset, Channels: []ingest.Channel{ingest.Channel(ingest.FlowTemp), ingest.Channel(ingest.ReturnTemp)},
		Since: l.t.Start(rests[first].first).UTC(), Until: l.t.Start(rests[n-1].last).UTC(),
		Size: offsetK, Low: offsetK - doubtK, High: offsetK + doubtK, Unit: "K",
	}
	if first == 0 {
		s.Since = utc(l.fromMS)
	}
	s.Effect = l.offsetEffect(offsetK, rests[first].first)
	s.Detail = l.offsetWords(&s, n-first)
	return s, true
}

func (l *look) offsetWords(s *Suspicion, pauses int) string {
	text := fmt.Sprintf("flow shows %+.2f K (%+.2f to %+.2f) against return in %s with the compressor off and water moving, where both should agree within %.2f K",
		s.Size, s.Low, s.High, counted(pauses, "pause"), pairToleranceK)
	if l.known.PairOffsetK != 0 {
		text += fmt.Sprintf(", although %+.2f K is taken off already", l.known.PairOffsetK)
	}
	if s.Effect != nil {
		text += fmt.Sprintf("; heat and SPF are shown %s", tooMuch(s.Effect.HeatPct))
	}
	return text + "; compare both sensors in one bath or with the pump on and the compressor off for 20 minutes, and write the offset down with their pair"
}

// alike returns the earliest of the last rests that tell the same, and what
// they tell together. Doubts of one plant are alike in all its pauses, so they
// do not shrink with their number: that of the surest stands for all.
func alike(rests []rest) (first int, offsetK, doubtK float64) {
	last := rests[len(rests)-1]
	first = len(rests) - 1
	for first > 0 && math.Abs(rests[first-1].offsetK-last.offsetK) <= rests[first-1].doubtK+last.doubtK {
		first--
	}
	weights := 0.0
	doubtK = math.Inf(1)
	for _, r := range rests[first:] {
		w := 1 / (r.doubtK * r.doubtK)
		offsetK += w * r.offsetK
		weights += w
		doubtK = min(doubtK, r.doubtK)
	}
	return first, offsetK / weights, doubtK
}

// offsetEffect is what the offset makes of the heat since a moment: it counts
// with all the water that passed.
func (l *look) offsetEffect(offsetK float64, since int) *Effect {
	litres, litresK := 0.0, 0.0
	for i := since; i < l.t.Len(); i++ {
		if v := trace.At(l.t.FlowLPH, i) * l.t.DurS[i]; l.running(i) && v > 0 {
			if k := trace.At(l.t.DifferenceK, i); !math.IsNaN(k) {
				litres, litresK = litres+v, litresK+v*k
			}
		}
	}
	if since > 0 && litresK <= 0 {
		return l.offsetEffect(offsetK, 0)
	}
	trueLitresK := litresK - offsetK*litres
	if trueLitresK <= 0 {
		return nil
	}
	pct := 100 * offsetK * litres / trueLitresK
	return &Effect{HeatPct: pct, SPFPct: pct}
}

// maxRests is more pauses than a day has.
const maxRests = 96

// rests finds the pauses. Beyond maxRests, the last ones count.
func (l *look) rests(into *[maxRests]rest) int {
	n := 0
	if l.t.DifferenceK == nil || l.t.FlowLPH == nil {
		return 0
	}
	for first := 0; first < l.t.Len(); {
		last := first
		for last < l.t.Len() && l.circulating(last) {
			last++
		}
		if r, ok := l.restOf(first, last); ok {
			if n == maxRests {
				copy(into[:], into[1:])
				n--
			}
			into[n] = r
			n++
		}
		first = last + 1
	}
	return n
}

// circulating says whether water moved without the compressor and any heater.
func (l *look) circulating(i int) bool {
	return l.t.FlowLPH[i] > minMovingLPH && !l.running(i) && !l.op.Backup[i] && trace.At(l.t.PowerW, i) < l.cutW &&
		!math.IsNaN(l.t.DifferenceK[i])
}

// restOf compares flow and return over circulating intervals once they have
// settled.
func (l *look) restOf(first, last int) (rest, bool) {
	if l.seconds(first, last) < leastRestS+leastSettledS {
		return rest{}, false
	}
	t, before := l.t, first
	var totalS, diffKS, transitKS, lossKS, movedKS, settledFrom float64
	begin, settled := -1, 0
	for i := first; i < last; i++ {
		for l.seconds(before, i) > settleS {
			before++
		}
		restS := l.seconds(first, i)
		if restS < leastRestS || !l.settledBetween(before, i) {
			continue
		}
		if begin < 0 {
			begin, settledFrom = i, restS
		}
		settled++
		durS := t.DurS[i]
		kPerS := (t.ReturnC[i] - t.ReturnC[before]) / l.seconds(before, i)
		totalS += durS
		diffKS += durS * t.DifferenceK[i]
		movedKS += durS * math.Abs(t.DifferenceK[i]-t.DifferenceK[before])
		transitKS += durS * kPerS * 3600 / t.FlowLPH[i]
		lossKS += durS * (t.FlowC[i] - outdoorOr(trace.At(t.OutdoorC, i))) / (waterWhPerLK * t.FlowLPH[i])
	}
	if totalS < leastSettledS || settled < leastSettled {
		return rest{}, false
	}
	transitKPerL, lossKPerWPerK := transitKS/totalS, lossKS/totalS
	doubts := []float64{betweenBandL * transitKPerL, betweenBandWPerK * lossKPerWPerK, movedKS / totalS, resolutionDoubtK, residualDoubtK}
	if settledFrom < restedS && l.seconds(first, last) < restedS {
		doubts = append(doubts, warmCondenserDoubtK)
	}
	return rest{
		first: begin, last: last,
		offsetK: diffKS/totalS + betweenL*transitKPerL + betweenWPerK*lossKPerWPerK,
		doubtK:  rootSumSquare(doubts),
	}, true
}

func outdoorOr(outdoorC float64) float64 {
	if math.IsNaN(outdoorC) {
		return assumedOutdoorC
	}
	return outdoorC
}

// settledBetween says whether the water has stood nearly still in temperature.
func (l *look) settledBetween(before, i int) bool {
	t := l.t
	return before < i && math.Abs(t.FlowC[i]-t.FlowC[before]) < settledWaterK && math.Abs(t.ReturnC[i]-t.ReturnC[before]) < settledWaterK &&
		math.Abs(t.DifferenceK[i]-t.DifferenceK[before]) < settledK
}

func rootSumSquare(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v * v
	}
	return math.Sqrt(sum)
}

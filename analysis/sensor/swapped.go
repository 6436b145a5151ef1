package sensor

import (
	"fmt"
	"math"

	"coldweek/analysis/trace"
	"coldweek/ingest"
)

const (
	// backwardsK is a difference clearly the wrong way round, or right.
	backwardsK = 0.5
	// enoughBackwardsS of running more backwards than rightly: no defrost lasts so
	// long without as much heating after it, no changeover either.
	enoughBackwardsS = 30 * 60
	// coolingBelowC: water that is colder on the mean is being cooled, whatever
	// the sensors are called (common practice, no source).
	coolingBelowC = 23
	// pairDoubtK is how far two thermometers of a house may disagree (95 %).
	pairDoubtK = 0.3
)

// swapped finds heating in which the return is warmer than the flow.
func (l *look) swapped() (Suspicion, bool) {
	t := l.t
	if t.DifferenceK == nil {
		return Suspicion{}, false
	}
	var begin, from, until int
	backwardsS := 0.0
	for i := range t.Len() {
		diffK := t.DifferenceK[i]
		if math.IsNaN(diffK) || !l.running(i) || trace.At(t.FlowLPH, i) == 0 {
			continue
		}
		switch {
		case diffK < -backwardsK:
			if backwardsS == 0 {
				begin = i
			}
			backwardsS = min(backwardsS+t.DurS[i], 2*enoughBackwardsS)
			if backwardsS >= enoughBackwardsS {
				from, until = begin, i+1
			}
		case diffK > backwardsK:
			backwardsS = max(0, backwardsS-t.DurS[i])
		}
	}
	if until == 0 {
		return Suspicion{}, false
	}
	return l.swappedFrom(from, until)
}

func (l *look) swappedFrom(begin, until int) (Suspicion, bool) {
	t := l.t
	var diffK, meanC span
	for i := begin; i < until; i++ {
		if l.running(i) && !math.IsNaN(t.DifferenceK[i]) {
			diffK.add(t.DifferenceK[i], t.DurS[i])
			meanC.add((t.FlowC[i]+t.ReturnC[i])/2, t.DurS[i])
		}
	}
	if diffK.mean() > -backwardsK || meanC.mean() < coolingBelowC {
		return Suspicion{}, false
	}
	return Suspicion{
		Kind: Swapped, Channels: []ingest.Channel{ingest.Channel(ingest.FlowTemp), ingest.Channel(ingest.ReturnTemp)},
		Since: t.Start(begin).UTC(), Until: t.Start(until).UTC(),
		Size: diffK.mean(), Low: diffK.mean() - pairDoubtK, High: diffK.mean() + pairDoubtK, Unit: "K", Effect: &Effect{HeatPct: -200, SPFPct: -200},
		Detail: fmt.Sprintf("the return reads %.1f K warmer than the flow while the compressor heats water of %.0f °C, for %.0f minutes of running: flow and return sensors, or their names, are exchanged; heat counts backwards until they are changed over",
			-diffK.mean(), meanC.mean(), diffK.s/60),
	}, true
}

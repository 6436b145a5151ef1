package operation

import (
	"time"

	"coldweek/ingest"
)

const (
	// A defrost by reversing the cycle takes heat from the water: the return
	// is warmer than the flow by more than drawnK (common practice, no source).
	drawnK = 0.3
	// minDefrostS and mergeDefrostS: shorter signs are no defrost, signs
	// closer together than this are one (common practice, no source).
	minDefrostS   = 45
	mergeDefrostS = 180
	// maxDefrostOutdoorC: no frost forms on the coil above it.
	maxDefrostOutdoorC = 12
)

// findDefrosts marks defrosts: as the mode says, else where heat flows back.
func (d *detector) findDefrosts() {
	first := -1
	for i := 0; i <= len(d.running); i++ {
		if i < len(d.running) && d.defrosts(i) {
			if first < 0 {
				first = i
			}
			continue
		}
		if first >= 0 {
			d.addDefrost(first, i)
			first = -1
		}
	}
	for _, e := range d.op.Defrosts {
		for i := e.First; i < e.Last; i++ {
			d.op.State[i] = Defrost
			d.running[i] = d.running[i] || d.known(i)
		}
	}
}

func (d *detector) defrosts(i int) bool {
	if m, ok := d.modeAt(i); ok {
		return m == ingest.ModeDefrost
	}
	return d.running[i] && at(d.t.FlowLPH, i) > minCirculatingLPH && d.diffK[i] < -drawnK &&
		!(at(d.t.OutdoorC, i) > maxDefrostOutdoorC)
}

// addDefrost appends an episode or joins it to the one before.
func (d *detector) addDefrost(first, last int) {
	if n := len(d.op.Defrosts) - 1; n >= 0 && d.seconds(d.op.Defrosts[n].Last, first) < mergeDefrostS {
		d.op.Defrosts[n].Last, d.op.Defrosts[n].To = last, d.t.Start(last)
		return
	}
	if d.seconds(first, last) < minDefrostS {
		return
	}
	d.op.Defrosts = append(d.op.Defrosts, Defrosting{
		First: first, Last: last, From: d.t.Start(first).In(time.UTC), To: d.t.Start(last).In(time.UTC),
	})
}

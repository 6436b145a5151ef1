package siteday

import (
	"math"
	"time"

	"coldweek/analysis/operation"
)

// episodes lists what happened in the day, cut at its ends.
func (s *summer) episodes() {
	for _, r := range s.op.Runs {
		if first, last, ok := s.within(r.First, r.Last); ok {
			s.sums.Runs = append(s.sums.Runs, s.run(r, first, last))
		}
	}
	for _, d := range s.op.Defrosts {
		if first, last, ok := s.within(d.First, d.Last); ok {
			s.sums.Defrosts = append(s.sums.Defrosts, s.defrost(d, first, last))
		}
	}
	for _, h := range s.op.HotWater {
		if first, last, ok := s.within(h.First, h.Last); ok {
			s.sums.HotWater = append(s.sums.HotWater, s.hotWater(h, first, last))
		}
	}
}

// within cuts intervals to the day.
func (s *summer) within(first, last int) (int, int, bool) {
	first, last = max(first, s.first), min(last, s.last)
	return first, last, first < last
}

func (s *summer) start(i int) time.Time { return s.t.Start(i).In(s.day.From.Location()) }

func (s *summer) run(r operation.Run, first, last int) Run {
	run := Run{
		From: s.start(first), To: s.start(last),
		Started: r.StartSeen && r.First >= s.first, Stopped: r.EndSeen && r.Last <= s.last,
		OpenBefore: r.First < s.first, OpenAfter: r.Last > s.last,
	}
	for i := first; i < last; i++ {
		switch s.op.State[i] {
		case operation.Heating:
			run.HeatingS += s.t.DurS[i]
		case operation.HotWater:
			run.HotWaterS += s.t.DurS[i]
		}
		if s.t.OutdoorC != nil && !math.IsNaN(s.t.OutdoorC[i]) {
			run.MeanOutdoor.ValueS += s.t.OutdoorC[i] * s.t.DurS[i]
			run.MeanOutdoor.S += s.t.DurS[i]
		}
	}
	run.Took = s.stretch(first, last)
	if run.Started {
		run.Begin = s.begin(r.First)
	}
	if run.Stopped {
		s.end(&run, r)
	}
	return run
}

func (s *summer) defrost(d operation.Defrosting, first, last int) Defrost {
	episode := Defrost{
		From: latest(d.From, s.day.From), To: earliest(d.To, s.day.To), HotGas: d.HotGas,
		OpenBefore: d.First < s.first, OpenAfter: d.Last > s.last,
	}
	var outdoor Mean
	for i := first; i < last; i++ {
		if s.t.Covered(i) {
			heatJ, electricityJ := s.energies(i)
			episode.DrawnJ += max(-heatJ, 0)
			episode.ElectricityJ += electricityJ
		}
		if s.t.OutdoorC != nil && !math.IsNaN(s.t.OutdoorC[i]) {
			outdoor = outdoor.Plus(Mean{ValueS: s.t.OutdoorC[i] * s.t.DurS[i], S: s.t.DurS[i]})
		}
	}
	if c, ok := outdoor.Of(); ok {
		episode.OutdoorC = &c
	}
	episode.HumidityPct = rounded(s.meanOver(s.humidityPct, first, last))
	episode.Took = s.stretch(first, last)
	if !episode.OpenBefore {
		s.surround(&episode, d)
	}
	return episode
}

func (s *summer) hotWater(h operation.HotWaterRun, first, last int) HotWater {
	run := HotWater{
		From: s.start(first), To: s.start(last),
		OpenBefore: h.First < s.first, OpenAfter: h.Last > s.last,
	}
	for i := first; i < last; i++ {
		if s.op.State[i] != operation.HotWater {
			continue
		}
		if s.t.Covered(i) {
			heatJ, electricityJ := s.energies(i)
			run.HeatJ += heatJ
			run.ElectricityJ += electricityJ
		}
		if s.t.FlowC != nil && s.t.FlowC[i] > run.PeakFlowC {
			run.PeakFlowC = s.t.FlowC[i]
		}
	}
	return run
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a.In(b.Location())
	}
	return b
}

func earliest(a, b time.Time) time.Time {
	if a.Before(b) {
		return a.In(b.Location())
	}
	return b
}

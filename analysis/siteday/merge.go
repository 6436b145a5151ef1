package siteday

import "slices"

// Merge adds days in ascending order. Runs, defrosts and hot-water runs that
// cross midnight become one again.
func Merge(days []Day) Sums {
	var total Sums
	hours, runs := 0, 0
	for i := range days {
		hours, runs = hours+len(days[i].Sums.Hours), runs+len(days[i].Sums.Runs)
	}
	total.Hours, total.Runs = slices.Grow(total.Hours, hours), slices.Grow(total.Runs, runs)
	for i := range days {
		total.Add(&days[i].Sums)
	}
	return total
}

// Add adds sums of a later span.
func (s *Sums) Add(o *Sums) {
	s.SpanS += o.SpanS
	s.CoveredS += o.CoveredS
	s.SecondsS.add(o.SecondsS)
	s.HeatJ.add(o.HeatJ)
	s.ElectricityJ.add(o.ElectricityJ)
	s.DrawnJ += o.DrawnJ
	s.IdealJ.add(o.IdealJ)
	s.IdealCoveredJ.add(o.IdealCoveredJ)
	s.HeatDoubt.Add(&o.HeatDoubt)
	s.HeatVarianceJSq += o.HeatVarianceJSq
	s.ElectricityVarianceJSq += o.ElectricityVarianceJSq
	s.BackupJ += o.BackupJ
	s.BackupS += o.BackupS
	s.BackupKnownS += o.BackupKnownS
	s.BackupInJ.add(o.BackupInJ)
	s.Pump.add(&o.Pump)
	s.Outdoor = s.Outdoor.Plus(o.Outdoor)
	s.Cylinder = s.Cylinder.Plus(o.Cylinder)
	if o.CylinderHighC != nil && (s.CylinderHighC == nil || *o.CylinderHighC > *s.CylinderHighC) {
		s.CylinderHighC = new(*o.CylinderHighC)
	}
	s.Flow.add(o.Flow)
	s.Difference.add(o.Difference)
	s.Humidity.add(o.Humidity)
	s.HeatRegister = s.HeatRegister.plus(o.HeatRegister)
	s.ElectricityRegister = s.ElectricityRegister.plus(o.ElectricityRegister)
	s.addMaps(o)
	s.addEpisodes(o)
}

func (s *Sums) addMaps(o *Sums) {
	if s.Rooms == nil {
		s.Rooms = map[string]Mean{}
	}
	for place, m := range o.Rooms {
		s.Rooms[place] = s.Rooms[place].Plus(m)
	}
	if s.RoomTemps == nil {
		s.RoomTemps = map[string]Histogram{}
	}
	for place, h := range o.RoomTemps {
		total := s.RoomTemps[place]
		total.add(h)
		s.RoomTemps[place] = total
	}
	if s.Steady == nil {
		s.Steady = map[int]SteadyBin{}
	}
	for output, b := range o.Steady {
		s.Steady[output] = s.Steady[output].plus(b)
	}
	s.Bins = addBins(s.Bins, o.Bins)
	s.FlowBins = addBins(s.FlowBins, o.FlowBins)
}

func addBins(sum, more map[int]Bin) map[int]Bin {
	if sum == nil {
		sum = make(map[int]Bin, len(more))
	}
	for c, b := range more {
		bin := sum[c]
		bin.SecondsS.add(b.SecondsS)
		bin.CoveredS.add(b.CoveredS)
		bin.HeatJ.add(b.HeatJ)
		bin.ElectricityJ.add(b.ElectricityJ)
		bin.IdealJ.add(b.IdealJ)
		bin.IdealCoveredJ.add(b.IdealCoveredJ)
		bin.BackupJ.add(b.BackupJ)
		sum[c] = bin
	}
	return sum
}

func (s *Sums) addEpisodes(o *Sums) {
	s.Hours = append(s.Hours, o.Hours...)
	s.Runs = joinEpisodes(s.Runs, o.Runs, func(a *Run, b Run) bool {
		if !a.OpenAfter || !b.OpenBefore || !a.To.Equal(b.From) {
			return false
		}
		a.To, a.Stopped, a.OpenAfter = b.To, b.Stopped, b.OpenAfter
		a.HeatingS += b.HeatingS
		a.HotWaterS += b.HotWaterS
		a.MeanOutdoor = a.MeanOutdoor.Plus(b.MeanOutdoor)
		a.Took = a.Took.Plus(b.Took)
		a.End, a.EndedInHotWater, a.AfterS, a.PumpedAfterS = b.End, b.EndedInHotWater, b.AfterS, b.PumpedAfterS
		return true
	})
	s.Defrosts = joinEpisodes(s.Defrosts, o.Defrosts, func(a *Defrost, b Defrost) bool {
		if !a.OpenAfter || !b.OpenBefore || !a.To.Equal(b.From) {
			return false
		}
		a.To, a.OpenAfter = b.To, b.OpenAfter
		a.DrawnJ += b.DrawnJ
		a.ElectricityJ += b.ElectricityJ
		a.Took = a.Took.Plus(b.Took) // its surroundings stand with its first part
		return true
	})
	s.Gaps = joinEpisodes(s.Gaps, o.Gaps, func(a *Gap, b Gap) bool {
		touches := a.To.Equal(b.From)
		if touches {
			a.To = b.To
		}
		return touches
	})
	s.HotWater = joinEpisodes(s.HotWater, o.HotWater, func(a *HotWater, b HotWater) bool {
		if !a.OpenAfter || !b.OpenBefore || !a.To.Equal(b.From) {
			return false
		}
		a.To, a.OpenAfter = b.To, b.OpenAfter
		a.HeatJ += b.HeatJ
		a.ElectricityJ += b.ElectricityJ
		a.PeakFlowC = max(a.PeakFlowC, b.PeakFlowC)
		return true
	})
}

// joinEpisodes appends the later list; its first element may continue the last
// of the earlier one, which join then takes in.
func joinEpisodes[E any](earlier, later []E, join func(a *E, b E) bool) []E {
	if len(earlier) > 0 && len(later) > 0 && join(&earlier[len(earlier)-1], later[0]) {
		later = later[1:]
	}
	return append(earlier, later...)
}

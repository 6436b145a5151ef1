package job

import (
	"coldweek/analysis/cycling"
	"coldweek/analysis/fluid"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
	"maps"
	"slices"
)

func flowOf(record *site.Record, s *siteday.Sums) Flow {
	f := Flow{
		MedianLPH: quantileOf(s.Flow, 0.5), P10LPH: quantileOf(s.Flow, 0.1), MedianDifferenceK: quantileOf(s.Difference, 0.5),
		DesignLPH: designFlow(record),
	}
	if record.Commissioned != nil {
		f.CommissionedLPH = record.Commissioned.FlowRateLPH
	}
	if record.HeatPump != nil {
		f.MinimumLPH = record.HeatPump.MinimumFlowLPH
	}
	return f
}

// designFlow is what carries the design heat loss at the design difference, in
// litres an hour, or nil.
func designFlow(record *site.Record) *float64 {
	d := record.Design
	if d == nil || d.HeatLossKW == nil || d.FlowTempC == nil || d.FlowReturnDifferenceK == nil {
		return nil
	}
	liquid, _, err := fluidOf(record.HeatPump)
	if err != nil {
		return nil
	}
	returnC := *d.FlowTempC - *d.FlowReturnDifferenceK
	perLPHW := liquid.HeatPowerW(1, *d.FlowTempC, returnC, fluid.MeterInReturn)
	return ifKnown(*d.HeatLossKW*1000/perLPHW, perLPHW)
}

func briefDay(d *siteday.Day) Day {
	s := &d.Sums
	brief := Day{Date: d.Date, Coverage: s.CoveredS / s.SpanS}
	if s.CoveredS > 0 {
		heat, electricity := heatOf(s, ""), electricityOf(s)
		brief.NetKWh, brief.SpaceKWh, brief.HotWaterKWh = heat.NetKWh, heat.SpaceKWh, heat.HotWaterKWh
		brief.ElectricityKWh = electricity.TotalKWh
	}
	brief.OutdoorC = meanOf(s.Outdoor)
	var rooms siteday.Mean
	for _, place := range slices.Sorted(maps.Keys(s.Rooms)) {
		m := s.Rooms[place]
		rooms.ValueS, rooms.S = rooms.ValueS+m.ValueS, rooms.S+m.S
	}
	brief.RoomC = meanOf(rooms)
	if s.KnownS() > 0 {
		starts, defrosts := 0, 0
		for _, run := range s.Runs {
			if run.Started {
				starts++
			}
		}
		for _, defrost := range s.Defrosts {
			if !defrost.OpenBefore {
				defrosts++
			}
		}
		brief.Starts, brief.Defrosts = &starts, &defrosts
	}
	return brief
}

// fields are a day's figures by name, for stores that other tools draw from. What
// is not known has no field.
func fields(record *site.Record, d *siteday.Day) map[string]float64 {
	f := map[string]float64{}
	put := func(name string, value *float64) {
		if value != nil {
			f[name] = *value
		}
	}
	s, b := &d.Sums, briefDay(d)
	f["coverage"] = b.Coverage
	put("net_kwh", b.NetKWh)
	put("space_kwh", b.SpaceKWh)
	put("hot_water_kwh", b.HotWaterKWh)
	put("electricity_kwh", b.ElectricityKWh)
	if s.CoveredS > 0 {
		e := electricityOf(s)
		put("defrost_drawn_kwh", kWh(s.DrawnJ))
		put("space_electricity_kwh", e.SpaceKWh)
		put("hot_water_electricity_kwh", e.HotWaterKWh)
		put("defrost_electricity_kwh", e.DefrostKWh)
		put("standby_electricity_kwh", e.StandbyKWh)
		put("backup_electricity_kwh", e.BackupKWh)
	}
	put("outdoor_c", b.OutdoorC)
	put("room_c", b.RoomC)
	put("flow_median_lph", quantileOf(s.Flow, 0.5))
	put("flow_p10_lph", quantileOf(s.Flow, 0.1))
	put("difference_median_k", quantileOf(s.Difference, 0.5))
	if b.Starts != nil {
		f["starts"], f["defrosts"] = float64(*b.Starts), float64(*b.Defrosts)
		f["run_hours"] = s.RunS() / 3600
		f["short_runs"] = float64(cycling.Summarise(s, plantOf(record)).Short)
		put("defrost_minutes", defrostOf(s).Minutes)
	}
	return f
}

func kWh(joule float64) *float64 {
	v := joule / joulePerKWh
	return &v
}

// ifKnown returns the value when there was something to take it from.
func ifKnown(value, basis float64) *float64 {
	if basis <= 0 {
		return nil
	}
	return &value
}

func hoursIfKnown(seconds, knownS float64) *float64 { return ifKnown(seconds/3600, knownS) }

func ratio(a, b *float64) *float64 {
	if a == nil || b == nil || *b <= 0 {
		return nil
	}
	v := *a / *b
	return &v
}

func meanOf(m siteday.Mean) *float64 {
	if v, ok := m.Of(); ok {
		return &v
	}
	return nil
}

func quantileOf(h siteday.Histogram, share float64) *float64 {
	if v, ok := h.Quantile(share); ok {
		return &v
	}
	return nil
}

func sum(values []float64) float64 {
	total := 0.0
	for _, v := range values {
		total += v
	}
	return total
}

// median is nil of no values.
func median(values []float64) *float64 {
	m, ok := robust.Median(values)
	if !ok {
		return nil
	}
	return &m
}

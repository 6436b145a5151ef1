package job

import (
	"coldweek/analysis/metrology"
	"coldweek/analysis/siteday"
	"coldweek/ingest"
	"coldweek/ingest/site"
)

// meteredPeriod says what a span counted and what is known of its meters.
func meteredPeriod(record *site.Record, sums *siteday.Sums, days []siteday.Day, coverage float64) metrology.Period {
	heatJ, electricityJ := metersOf(record).Measured(sums)
	p := metrology.Period{
		Sums: sums.HeatDoubt, ElectricityJ: electricityJ,
		HeatVarianceJSq: sums.HeatVarianceJSq, ElectricityVarianceJSq: sums.ElectricityVarianceJSq,
		AddedHeatJ: heatJ - sums.HeatDoubt.NetJ, UncoveredShare: min(max(1-coverage, 0), 1),
		HeatMeter: metrology.HeatMeter{Class: metrology.HeatUnclassified}, ElectricityMeter: metrology.ElectricityUnclassified,
	}
	if liquid, assumedRatio, err := fluidOf(record.HeatPump); err == nil {
		p.FluidRatio = max(liquid.UncertaintyRatio(), assumedRatio)
	}
	if spread, ok := metrology.DaySpreadRatio(dayEnergies(days)); ok {
		p.DaySpreadRatio = spread
	}
	if m := record.Metering; m != nil {
		meters(&p, m)
	}
	return p
}

// meters takes over what the record says of them.
func meters(p *metrology.Period, m *site.Metering) {
	if h := m.HeatMeter; h != nil {
		p.HeatMeter = metrology.HeatMeter{Class: metrology.HeatClass(h.Class)}
		if h.PermanentFlowM3H != nil {
			p.HeatMeter.PermanentFlowLPH = *h.PermanentFlowM3H * litrePerM3
		}
		if h.MinimumDifferenceK != nil {
			p.HeatMeter.MinimumDifferenceK = *h.MinimumDifferenceK
		}
	}
	if e := m.ElectricityMeter; e != nil {
		p.ElectricityMeter = metrology.ElectricityClass(e.Class)
	}
	for _, pair := range m.SensorPairs {
		if pair.Flow != ingest.Channel(ingest.FlowTemp) {
			continue
		}
		if pair.PairErrorK != nil {
			p.PairErrorK = *pair.PairErrorK
		}
		if pair.OffsetK != nil && !pair.ApplyOffset {
			p.OffsetK = max(*pair.OffsetK, -*pair.OffsetK)
		}
	}
}

func dayEnergies(days []siteday.Day) []metrology.DayEnergy {
	energies := make([]metrology.DayEnergy, 0, len(days))
	for i := range days {
		s := &days[i].Sums
		if s.CoveredS >= minDayCoverage*s.SpanS {
			energies = append(energies, metrology.DayEnergy{HeatJ: netHeatJ(s), ElectricityJ: s.ElectricityJ.Total()})
		}
	}
	return energies
}

package job

import (
	"coldweek/analysis/heatloss"
	"coldweek/analysis/metrology"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// lossOf fits what the house loses.
func lossOf(record *site.Record, sums *siteday.Sums, days []siteday.Day, coverage float64) *heatloss.Result {
	o := heatloss.Options{BackupUnseen: !metersOf(record).HeatAfterBackup}
	period := meteredPeriod(record, sums, days, coverage)
	o.ScaleRatio, o.PairK = heatMeterDoubt(&period)
	if d := record.Design; d != nil {
		o.OutdoorC, o.RoomC, o.DesignW = d.OutdoorTempC, d.RoomTempC, scaled(d.HeatLossKW, wattPerKW)
	}
	return heatloss.Of(days, o)
}

// heatMeterDoubt takes all of the doubt to be in proportion to the heat where it
// cannot be split.
func heatMeterDoubt(period *metrology.Period) (scaleRatio, pairK float64) {
	if scalePct, pairK, ok := period.Split(); ok {
		return scalePct / 100, pairK
	}
	whole, _ := period.Heat()
	return whole.Pct / 100, 0
}

// heatLossOf puts the fit into the answer's keys.
func heatLossOf(record *site.Record, r *heatloss.Result) HeatLoss {
	h := HeatLoss{Days: &r.Days, Verdict: new(string(r.Verdict)), Why: &r.Why}
	if d := record.Design; d != nil {
		h.DesignKW = d.HeatLossKW
	}
	h.WPerK, h.WPerKLow, h.WPerKHigh = parts(r.LossWPerK, 1)
	h.BaseC, _, _ = parts(r.BaseC, 1)
	h.AtDesignKW, h.LowKW, h.HighKW = parts(r.GrossW, wattPerKW)
	h.NetAtDesignKW, h.NetLowKW, h.NetHighKW = parts(r.NetW, wattPerKW)
	h.Ratio, _, _ = parts(r.Ratio, 1)
	return h
}

// parts of an estimate in a unit so many times larger.
func parts(e *robust.Estimate, times float64) (value, low, high *float64) {
	if e == nil {
		return nil, nil, nil
	}
	return new(e.Value / times), new(e.Low / times), new(e.High / times)
}

package job

import (
	"coldweek/analysis/heatloss"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
	"coldweek/ingest/site"
)

// lossOf fits what the house loses. The doubt is that of the metered heat, 95 %,
// in percent; nil where it is not known.
func lossOf(record *site.Record, days []siteday.Day, heatDoubtPct *float64) *heatloss.Result {
	o := heatloss.Options{BackupUnseen: !metersOf(record).HeatAfterBackup}
	if heatDoubtPct != nil {
		o.HeatDoubtRatio = *heatDoubtPct / 100
	}
	if d := record.Design; d != nil {
		o.OutdoorC, o.RoomC, o.DesignW = d.OutdoorTempC, d.RoomTempC, scaled(d.HeatLossKW, wattPerKW)
	}
	return heatloss.Of(days, o)
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

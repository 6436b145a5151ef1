package job

import (
	"cmp"
	"slices"
	"time"

	"coldweek/analysis/cycling"
	"coldweek/analysis/fluid"
	"coldweek/ingest/site"
)

const (
	wattPerKW  = 1000
	litrePerM3 = 1000
	// aroundC is a usual temperature of heating water, for its heat capacity.
	aroundC = 40
)

// plantOf is what the record knows of why a plant might cycle.
func plantOf(record *site.Record) cycling.Plant {
	p := cycling.Plant{ShortRun: cycling.DefaultShortRun}
	if l := record.Limits; l != nil && l.ShortRunMinutes != nil {
		p.ShortRun = time.Duration(*l.ShortRunMinutes * float64(time.Minute))
	}
	if hp := record.HeatPump; hp != nil {
		p.MinimumHeatW, p.MinimumFlowLPH = scaled(hp.MinimumHeatKW, wattPerKW), hp.MinimumFlowLPH
	}
	if d := record.Design; d != nil {
		p.DesignHeatLossW = scaled(d.HeatLossKW, wattPerKW)
	}
	if c := record.Commissioned; c != nil {
		p.CommissionedLPH = c.FlowRateLPH
	}
	if h := record.HeatingCurve; h != nil {
		for _, point := range h.Points {
			p.Curve = append(p.Curve, cycling.CurvePoint{OutdoorC: point.OutdoorTempC, FlowC: point.FlowTempC})
		}
		slices.SortFunc(p.Curve, func(a, b cycling.CurvePoint) int { return cmp.Compare(a.OutdoorC, b.OutdoorC) })
	}
	if liquid, _, err := fluidOf(record.HeatPump); err == nil {
		p.VolumeJPerLK = liquid.HeatCoefficientJM3K(aroundC, aroundC, fluid.MeterInReturn) / litrePerM3
	}
	return p
}

func scaled(v *float64, factor float64) *float64 {
	if v == nil {
		return nil
	}
	return new(*v * factor)
}

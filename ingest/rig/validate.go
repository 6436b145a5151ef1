package rig

import (
	"fmt"
	"slices"
	"time"

	"coldweek/ingest"
)

// within is one range check of Validate.
type within struct {
	name           string
	value          float64
	low, high      float64
	zeroMeansUnset bool
}

func (w within) check() error {
	if w.zeroMeansUnset && w.value == 0 {
		return nil
	}
	if !(w.value >= w.low && w.value <= w.high) {
		return fmt.Errorf("%s is %g; it must be between %g and %g", w.name, w.value, w.low, w.high)
	}
	return nil
}

// Validate says what is impossible about the plant, or nil.
func (p Plant) Validate() error {
	if p.ID == "" {
		return fmt.Errorf("a plant needs an ID")
	}
	if _, err := time.LoadLocation(p.TimeZone); err != nil || p.TimeZone == "" {
		return fmt.Errorf("time zone %q is no IANA name such as Europe/London", p.TimeZone)
	}
	for _, w := range p.ranges() {
		if err := w.check(); err != nil {
			return err
		}
	}
	if len(p.Hours) == 0 {
		if err := p.Climate.Validate(); err != nil {
			return err
		}
	}
	for _, check := range []func() error{p.checkControl, p.checkDefrost, p.checkMetering} {
		if err := check(); err != nil {
			return err
		}
	}
	for _, t := range p.Troubles {
		if err := t.validate(); err != nil {
			return err
		}
	}
	return nil
}

func (p Plant) ranges() []within {
	h, e, l, m, w := &p.House, &p.Emitters, &p.Loop, &p.HeatPump, &p.HotWater
	ranges := []within{
		{"latitude", p.LatitudeDeg, -90, 90, false},
		{"longitude", p.LongitudeDeg, -180, 180, false},
		{"step in s", p.Step.Seconds(), 0.1, 3, true},
		{"heat loss in W/K", h.HeatLossWPerK, 20, 2000, false},
		{"air capacity in MJ/K", h.AirMJPerK, 0.5, 100, false},
		{"fabric capacity in MJ/K", h.FabricMJPerK, 1, 1000, false},
		{"internal gains in W", h.GainsW, 0, 5000, false},
		{"solar aperture in m²", h.SolarApertureM2, 0, 50, false},
		{"room set point in °C", h.RoomSetC, 10, 30, false},
		{"emitter output at 50 K in kW", e.OutputAt50KW, 1, 500, false},
		{"emitter exponent", e.Exponent, 1, 1.6, false},
		{"emitter water in l", e.WaterL, 5, 2000, false},
		{"emitter metal in kJ/K", e.MetalKJPerK, 0, 5000, false},
		{"slab in MJ/K", e.SlabMJPerK, 0, 100, false},
		{"loop volume in l", l.VolumeL, 10, 2000, false},
		{"flow in l/h", l.FlowLPH, 200, 5000, false},
		{"modulating share", l.ModulatingShare, 0, 0.7, false},
		{"pump power in W", l.PumpW, 0, 500, false},
		{"rated heat in kW", m.RatedHeatKW, 2, 60, false},
		{"minimum heat in kW", m.MinimumHeatKW, 0.5, m.RatedHeatKW, false},
		{"capacity loss per K", m.CapacityPerK, 0, 0.04, false},
		{"carnot share", m.CarnotShare, 0.2, 0.7, false},
		{"maximum flow temperature in °C", m.MaximumFlowC, 35, 80, false},
		{"standby in W", m.StandbyW, 0, 200, false},
		{"maximum speed in Hz", m.MaximumHz, 30, 200, false},
		{"ramp in s", m.RampS, 10, 600, false},
		{"backup power in kW", p.Backup.PowerKW, 0, 30, false},
	}
	if w.CylinderL == 0 {
		return ranges
	}
	return append(ranges, []within{
		{"cylinder in l", w.CylinderL, 30, 2000, false},
		{"hot water target in °C", w.TargetC, 35, 70, false},
		{"hot water hysteresis in K", w.HysteresisK, 1, 25, false},
		{"hot water flow in l/h", l.HotWaterFlowLPH, 200, 5000, false},
		{"coil in W/K", w.CoilWPerK, 100, 10000, false},
		{"hot water draws in kWh a day", w.DailyKWh, 0, 60, false},
		{"cylinder loss in W/K", w.LossWPerK, 0, 10, false},
		{"hot water output share", w.OutputShare, 0.2, 1, false},
		{"hygiene temperature in °C", w.HygieneC, 50, 75, true},
		{"longest hot water run in h", w.MaximumLength.Hours(), 0.2, 12, false},
	}...)
}

func (p Plant) checkControl() error {
	c := &p.Control
	if len(c.Curve) < 2 {
		return fmt.Errorf("the heating curve has %d points; it needs two", len(c.Curve))
	}
	for i := 1; i < len(c.Curve); i++ {
		if c.Curve[i].OutdoorC <= c.Curve[i-1].OutdoorC {
			return fmt.Errorf("heating curve point %d: outdoor temperatures must rise", i+1)
		}
	}
	if c.MinimumFlowC >= c.MaximumFlowC || c.MaximumFlowC > p.HeatPump.MaximumFlowC {
		return fmt.Errorf("flow limits %g to %g °C must rise and stay below the machine's %g °C",
			c.MinimumFlowC, c.MaximumFlowC, p.HeatPump.MaximumFlowC)
	}
	if c.StartBelowK <= 0 || c.StopAboveK <= 0 {
		return fmt.Errorf("start and stop hysteresis of %g and %g K must be positive", c.StartBelowK, c.StopAboveK)
	}
	return nil
}

func (p Plant) checkDefrost() error {
	d := &p.Defrost
	switch {
	case d.Style != ReverseCycle && d.Style != HotGas:
		return fmt.Errorf("defrost style %q is neither %q nor %q", d.Style, ReverseCycle, HotGas)
	case d.ThresholdKgPerKW <= 0 || d.PowerShare <= 0 || d.PowerShare > 1 || d.HeatShare < 0 || d.HeatShare > 1.5:
		return fmt.Errorf("defrost threshold, power share and heat share must be positive and plausible")
	case d.MaximumLength < 2*time.Minute:
		return fmt.Errorf("longest defrost of %v is too short; use 8 to 15 min", d.MaximumLength)
	}
	return nil
}

func (p Plant) checkMetering() error {
	for _, q := range p.Metering.Quantities {
		if _, known := sourceOf(q); !known {
			return fmt.Errorf("the rig has no %q to publish", q)
		}
	}
	for q, spec := range p.Metering.Specs {
		if err := spec.Validate(); err != nil {
			return fmt.Errorf("instrument of %q: %w", q, err)
		}
	}
	for _, place := range p.House.Rooms {
		if _, err := ingest.ParseChannel(string(ingest.NewChannel(ingest.RoomTemp, place))); err != nil {
			return err
		}
	}
	if p.Metering.DropoutShare < 0 || p.Metering.DropoutShare > 0.9 {
		return fmt.Errorf("dropout share of %g is not between 0 and 0.9", p.Metering.DropoutShare)
	}
	return nil
}

// sourceOf is what an instrument for the quantity looks at.
func sourceOf(q ingest.Quantity) (source, bool) {
	i := slices.Index(order[:], q)
	return source(i), i >= 0
}

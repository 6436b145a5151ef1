package pipework

import (
	"errors"
	"fmt"
	"math"

	"coldweek/analysis/fluid"
	"coldweek/ingest/site"
	"coldweek/ingest/site/catalogue"
)

// What is taken where the record does not say.
const (
	assumedFlowTempC   = 45
	assumedDifferenceK = 5
	// assumedGlycolPct is the strongest mix usual in heating (common practice,
	// no source), so that its loss is not understated.
	assumedGlycolPct = 30
)

// ErrNoPipework says that there is nothing to work out.
var ErrNoPipework = errors.New("the record has no pipework; list the legs from the heat pump outwards")

// Of reads a system out of a site record. It errs when the record has no
// pipework or its fluid's properties are not known at its temperatures; what
// else is missing is told in the system.
func Of(record *site.Record) (*System, error) {
	if record.Pipework == nil || len(record.Pipework.Legs) == 0 {
		return nil, ErrNoPipework
	}
	b := &builder{System: &System{Site: record.ID}, record: record, served: map[string]int{}}
	b.readDesign()
	b.readPump()
	b.readLimits()
	if err := b.readFluid(); err != nil {
		return nil, err
	}
	b.countServed(record.Pipework.Legs)
	for _, leg := range record.Pipework.Legs {
		b.addLeg(leg, AtHeatPump, b.differenceK)
	}
	b.noteBareEnds()
	return b.System, nil
}

// builder fills a system from a record.
type builder struct {
	*System
	record      *site.Record
	liquid      *fluid.Fluid
	differenceK float64
	served      map[string]int // legs by the room they serve
}

func (b *builder) assume(format string, args ...any) {
	b.Assumed = append(b.Assumed, fmt.Sprintf(format, args...))
}

func (b *builder) miss(format string, args ...any) {
	b.Missing = append(b.Missing, fmt.Sprintf(format, args...))
}

func (b *builder) readDesign() {
	b.FlowTempC, b.differenceK = assumedFlowTempC, assumedDifferenceK
	design := b.record.Design
	if design == nil {
		design = &site.Design{}
	}
	if design.FlowTempC != nil {
		b.FlowTempC = *design.FlowTempC
	} else {
		b.assume("a flow temperature of %d °C (design.flow_temp_c)", assumedFlowTempC)
	}
	if design.FlowReturnDifferenceK != nil {
		b.differenceK = *design.FlowReturnDifferenceK
	} else {
		b.assume("%d K between flow and return (design.flow_return_difference_k)", assumedDifferenceK)
	}
	b.DesignHeatLossKW = known(design.HeatLossKW)
}

// known returns a value or 0.
func known(value *float64) float64 {
	if value == nil {
		return 0
	}
	return *value
}

func (b *builder) readPump() {
	machine := b.record.HeatPump
	if machine == nil {
		return
	}
	b.MinimumFlowLPH, b.RatedHeatKW = known(machine.MinimumFlowLPH), known(machine.RatedHeatKW)
	b.Pump = curveOf(machine.PumpCurve)
	for i, s := range machine.PumpSettings {
		if s.Name == machine.PumpSetting || i == 0 && machine.PumpSetting == "" {
			b.Pump, b.Setting = curveOf(s.Points), s.Name
		} else {
			b.OtherSettings = append(b.OtherSettings, Setting{s.Name, curveOf(s.Points)})
		}
	}
	if len(b.Pump) > 0 {
		b.assume("the pump curve is the head left outside the machine, its exchanger and filter taken off")
	}
}

func curveOf(points []site.PumpPoint) PumpCurve {
	curve := make(PumpCurve, len(points))
	for i, p := range points {
		curve[i] = PumpPoint(p)
	}
	return curve
}

func (b *builder) readLimits() {
	b.Limits = DefaultLimits
	limits := b.record.Limits
	if limits != nil && limits.PipeVelocityMPerS != nil {
		b.Limits.VelocityMPerS = *limits.PipeVelocityMPerS
	}
	if limits != nil && limits.PipeLossPaPerM != nil {
		b.Limits.LossPaPerM = *limits.PipeLossPaPerM
	}
}

func (b *builder) readFluid() error {
	machine := b.record.HeatPump
	if machine == nil {
		machine = &site.HeatPump{}
	}
	pct, basis := known(machine.FluidConcentrationPct), machine.FluidConcentrationBasis
	switch {
	case machine.Fluid == "":
		b.assume("water (heat_pump.fluid)")
	case machine.Fluid != "water" && pct == 0:
		pct, basis = assumedGlycolPct, "volume"
		b.assume("%d %% glycol by volume, the strongest usual mix (heat_pump.fluid_concentration_pct)", assumedGlycolPct)
	}
	liquid, err := fluid.ForName(machine.Fluid, pct, basis)
	if err != nil {
		return fmt.Errorf("read heat_pump.fluid: %w", err)
	}
	meanC := b.FlowTempC - b.differenceK/2
	b.liquid, b.FluidName = liquid, liquid.String()
	b.Liquid = Liquid{DensityKgM3: liquid.DensityKgM3(meanC), ViscosityPaS: liquid.ViscosityPaS(meanC)}
	if math.IsNaN(b.Liquid.DensityKgM3) {
		return fmt.Errorf("the properties of %s at %.1f °C are not known: check design.flow_temp_c", liquid, meanC)
	}
	return nil
}

func (b *builder) countServed(legs []site.Leg) {
	for _, leg := range legs {
		if leg.ServesKW == nil {
			b.served[leg.ServesRoom]++
		}
		b.countServed(leg.Legs)
	}
}

func (b *builder) addLeg(from site.Leg, parent int, differenceK float64) {
	if from.FlowReturnDifferenceK != nil {
		differenceK = *from.FlowReturnDifferenceK
	}
	outsideMM, wallMM, _ := catalogue.ParseSize(from.Size)
	roughnessM, _ := catalogue.RoughnessM(from.Material)
	leg := Leg{
		Name: from.Name, Parent: parent, Material: from.Material, Size: from.Size,
		Pipe:    Pipe{BoreM: (outsideMM - 2*wallMM) / 1000, RoughnessM: roughnessM},
		LengthM: from.LengthM, Parallel: max(1, from.Parallel), FloorLoop: from.FloorLoop,
		Setter: setterOf(from.FlowSetter), LoadKW: b.loadKW(from), DifferenceK: differenceK,
	}
	leg.Zeta, leg.KvM3H = sumFittings(from.Fittings)
	leg.FlowLPH = FlowLPH(b.liquid, leg.LoadKW, b.FlowTempC, differenceK)
	b.Legs = append(b.Legs, leg)
	at := len(b.Legs) - 1
	for _, below := range from.Legs {
		b.addLeg(below, at, differenceK)
	}
}

// FlowLPH returns the flow that carries a load: P / (k·ΔT), with EN 1434's heat
// coefficient for a volume counted in the return.
func FlowLPH(liquid *fluid.Fluid, loadKW, flowTempC, differenceK float64) float64 {
	coefficient := liquid.HeatCoefficientJM3K(flowTempC, flowTempC-differenceK, fluid.MeterInReturn)
	return 1000 * loadKW / (coefficient * differenceK) / litresPerHour
}

// loadKW is what a leg itself serves: its own figure, or its room's loss, of
// which legs that serve one room have equal shares.
func (b *builder) loadKW(leg site.Leg) float64 {
	switch {
	case leg.ServesKW != nil:
		return *leg.ServesKW
	case leg.ServesRoom == "" && len(leg.Legs) == 0:
		b.miss("what %q serves (serves_kw or serves_room)", leg.Name)
		return 0
	case leg.ServesRoom == "":
		return 0
	}
	lossW, ok := b.roomLossW(leg.ServesRoom)
	if !ok {
		b.miss("the load of %q: room %q has no design_loss_w", leg.Name, leg.ServesRoom)
		return 0
	}
	if count := b.served[leg.ServesRoom]; count > 1 {
		b.assume("%q serves a %s of room %q, equal shares", leg.Name, share(count), leg.ServesRoom)
		return lossW / 1000 / float64(count)
	}
	return lossW / 1000
}

func share(count int) string {
	if count == 2 {
		return "half"
	}
	return fmt.Sprintf("share of 1/%d", count)
}

func (b *builder) roomLossW(place string) (lossW float64, ok bool) {
	if b.record.Emitters == nil {
		return 0, false
	}
	for _, room := range b.record.Emitters.Rooms {
		if room.Place == place && room.DesignLossW != nil {
			return *room.DesignLossW, true
		}
	}
	return 0, false
}

// sumFittings adds up coefficients, and Kvs in series: 1/Kv² = Σ 1/Kvi².
func sumFittings(fittings []site.Fitting) (zeta, kvM3H float64) {
	inverseSquares := 0.0
	for _, f := range fittings {
		count := float64(max(1, f.Count))
		switch {
		case f.KvM3H > 0:
			inverseSquares += count / (f.KvM3H * f.KvM3H)
		case f.Zeta > 0:
			zeta += count * f.Zeta
		default:
			common, _ := catalogue.Zeta(f.Name)
			zeta += count * common
		}
	}
	if inverseSquares > 0 {
		kvM3H = 1 / math.Sqrt(inverseSquares)
	}
	return zeta, kvM3H
}

func setterOf(from *site.FlowSetter) *Setter {
	if from == nil {
		return nil
	}
	return &Setter{KvM3H: from.KvM3H, SetLPH: known(from.SetLPH), MaximumLPH: known(from.MaximumLPH)}
}

// noteBareEnds tells where the loss of an emitter and its valves is taken as
// nothing because the leg lists no fitting.
func (b *builder) noteBareEnds() {
	ends := b.ends()
	var bare []string
	for i := range b.Legs {
		leg := &b.Legs[i]
		if ends[i] && !leg.FloorLoop && leg.Zeta == 0 && leg.KvM3H == 0 && leg.Setter == nil {
			bare = append(bare, fmt.Sprintf("%q", leg.Name))
		}
	}
	if len(bare) > 0 {
		b.assume("no loss in emitters, valves and fittings where none are listed: %s", some(bare))
	}
}

package rig

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/rig/weather"
)

// places are invented; zone and position go with the climate.
var places = []struct {
	climate                   weather.Climate
	zone                      string
	latitudeDeg, longitudeDeg float64
	designC                   float64
}{
	{weather.MildWet(), "Europe/London", 52.4, -1.9, -3},
	{weather.MildWet(), "Europe/Dublin", 53.2, -7.6, -2},
	{weather.MildWet(), "Europe/Amsterdam", 52.2, 5.1, -6},
	{weather.Continental(), "Europe/Berlin", 50.4, 9.8, -11},
	{weather.Continental(), "Europe/Vienna", 47.9, 14.6, -12},
	{weather.Continental(), "Europe/Prague", 49.6, 15.2, -12},
	{weather.ColdDry(), "Europe/Stockholm", 59.6, 16.4, -18},
	{weather.ColdDry(), "Europe/Helsinki", 60.8, 24.7, -22},
}

// draw helpers of Random.
type dice struct{ *rand.Rand }

func (d dice) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

func (d dice) chance(p float64) bool { return d.Float64() < p }

// pick returns one of the durations.
func (d dice) pick(of ...time.Duration) time.Duration { return of[d.IntN(len(of))] }

// Random draws a healthy plant from wide but plausible ranges: sizes, climate,
// emitters, defrost style, water volume, meters, and what it publishes.
func Random(seed uint64) Plant {
	d := dice{rand.New(rand.NewPCG(seed, 0x72616e646f6d))}
	place := places[d.IntN(len(places))]
	p := Plant{
		ID: fmt.Sprintf("plant-%d", seed), Name: fmt.Sprintf("Plant %d", seed), Seed: seed,
		TimeZone: place.zone, LatitudeDeg: place.latitudeDeg + d.between(-0.8, 0.8), LongitudeDeg: place.longitudeDeg + d.between(-0.8, 0.8),
		Climate: place.climate,
	}
	p.Climate.AnnualMeanC += d.between(-1, 1)
	p.Design.OutdoorC = place.designC + math.Round(d.between(-1, 1))
	d.drawHouse(&p)
	d.drawMachine(&p)
	d.drawEmitters(&p)
	d.drawHotWater(&p)
	d.drawMetering(&p)
	p.Control = usualControl()
	p.Control.HeatingLimitC = p.House.RoomSetC - p.House.GainsW/p.House.HeatLossWPerK - d.between(0.3, 1.2)
	p.Control.DampingH = d.between(0, 5)
	p.Control.RoomCorrectionKPerK = d.between(0.5, 2)
	p.Control.StartBelowK, p.Control.StopAboveK = d.between(4, 6), d.between(3.5, 5)
	p.Control.MaximumFlowC = min(p.Control.MaximumFlowC, p.HeatPump.MaximumFlowC)
	p.Control.Curve = p.MatchedCurve(d.between(0, 1))
	p.Design.FlowC = math.Round(p.Control.Curve[0].FlowC)
	p.Design.Commissioned = day(2024, 9, 1+d.IntN(28))
	return p
}

// drawHouse: 3.5 to 13 kW at design, light to heavy.
func (d dice) drawHouse(p *Plant) {
	roomC := math.Round(d.between(19, 22)*2) / 2
	lossKW := d.between(3.5, 13)
	lossWPerK := lossKW * 1e3 / (roomC - p.Design.OutdoorC)
	p.House = House{
		HeatLossWPerK: lossWPerK, RoomSetC: roomC,
		AirMJPerK:       lossWPerK * d.between(0.018, 0.03),
		FabricMJPerK:    lossWPerK * d.between(0.1, 0.28),
		GainsW:          lossWPerK * d.between(1.5, 2.8),
		SolarApertureM2: lossWPerK * d.between(0.004, 0.01),
		Rooms:           []string{"living", "bedroom", "bath"}[:2+d.IntN(2)],
	}
	p.Design.HeatLossKW = lossKW * d.between(0.9, 1.25)
}

// drawMachine sizes the machine for the house at its design temperature.
func (d dice) drawMachine(p *Plant) {
	perK := d.between(0.011, 0.018)
	lossKW := p.House.HeatLossWPerK * (p.House.RoomSetC - p.Design.OutdoorC) / 1e3
	atDesign := min(1, max(0.45, 1-perK*(7-p.Design.OutdoorC))) * 0.93 // warm flow takes some
	ratedKW := lossKW * d.between(1.08, 1.35) / atDesign
	p.HeatPump = HeatPump{
		RatedHeatKW: round(ratedKW, 1), MinimumHeatKW: round(ratedKW*d.between(0.17, 0.25), 1),
		CapacityPerK: perK, CarnotShare: d.between(0.48, 0.57), MaximumFlowC: math.Round(d.between(60, 70)),
		StandbyW: d.between(8, 25), MaximumHz: math.Round(d.between(75, 120)), RampS: d.between(50, 110),
	}
	style := ReverseCycle
	if d.chance(0.3) {
		style = HotGas
	}
	p.Defrost = usualDefrost(style)
	p.Defrost.ThresholdKgPerKW *= d.between(0.85, 1.25)
	p.Defrost.HeatShare = d.between(0.5, 0.8)
	p.Defrost.PowerShare *= d.between(0.8, 1.2)
	p.Defrost.MaximumLength = time.Duration(d.between(8, 12) * float64(time.Minute))
	if p.Design.OutdoorC < -8 || d.chance(0.3) {
		p.Backup = Backup{PowerKW: float64(3 * (1 + d.IntN(3))), BelowOutdoorC: p.Design.OutdoorC + d.between(0, 4), AfterSensors: d.chance(0.3)}
	}
}

// drawEmitters sizes radiators or floors for a design flow temperature, and
// gives the loop water enough for the lowest output.
func (d dice) drawEmitters(p *Plant) {
	lossW := p.House.HeatLossWPerK * (p.House.RoomSetC - p.Design.OutdoorC)
	differenceK := d.between(4.5, 7)
	p.Design.DifferenceK = math.Round(differenceK)
	p.Loop.FlowLPH = math.Round(lossW / (1.155 * differenceK))
	p.Loop.PumpW = d.between(20, 35) + p.Loop.FlowLPH*0.012
	p.Loop.HotWaterFlowLPH = math.Round(p.Loop.FlowLPH * d.between(0.9, 1.25))
	p.Loop.ModulatingShare = 0
	if d.chance(0.4) {
		p.Loop.ModulatingShare = d.between(0.05, 0.3)
	}
	floor := d.chance(0.4)
	flowC, exponent := d.between(38, 48), d.between(1.25, 1.36)
	if floor {
		flowC, exponent = d.between(31, 37), 1.1
	}
	excessK := flowC - differenceK/2 - p.House.RoomSetC
	p.Emitters = Emitters{Exponent: exponent, OutputAt50KW: (lossW - p.House.GainsW) / 1e3 / math.Pow(excessK/50, exponent)}
	wantedL := p.HeatPump.MinimumHeatKW * d.between(45, 75)
	if floor {
		p.Emitters.WaterL, p.Emitters.MetalKJPerK = wantedL*0.6, 30
		p.Emitters.SlabMJPerK = lossW / 1e3 * d.between(0.3, 0.8)
	} else {
		p.Emitters.WaterL, p.Emitters.MetalKJPerK = wantedL*0.65, wantedL*d.between(1, 1.6)
	}
	p.Loop.VolumeL = max(40, wantedL*0.4)
}

func (d dice) drawHotWater(p *Plant) {
	if d.chance(0.08) {
		return
	}
	cylinderL := 10 * math.Round(min(30, max(15, p.HeatPump.RatedHeatKW*d.between(1.7, 2.7))))
	p.HotWater = HotWater{
		CylinderL: cylinderL, TargetC: min(math.Round(d.between(46, 52)), p.HeatPump.MaximumFlowC-11), HysteresisK: d.between(6, 10),
		CoilWPerK: p.HeatPump.RatedHeatKW * d.between(180, 280), DailyKWh: cylinderL * d.between(0.02, 0.04),
		LossWPerK: d.between(1.2, 2.2), OutputShare: d.between(0.65, 0.9), MaximumLength: 2 * time.Hour,
	}
	if d.chance(0.3) {
		p.HotWater.Schedule = []Span{{4, 7}, {12.5, 15.5}, {20, 22}}
	}
	if d.chance(0.5) {
		p.HotWater.HygieneC, p.HotWater.HygieneDay = 60, time.Weekday(d.IntN(7))
		p.HotWater.HygieneHour, p.HotWater.ImmersionKW = 1+d.IntN(22), 3
	}
}

func (d dice) drawMetering(p *Plant) {
	p.Metering = Metering{
		Interval:     d.pick(5*time.Second, 10*time.Second, 10*time.Second, 10*time.Second, 15*time.Second, 30*time.Second),
		SlowInterval: d.pick(10*time.Second, 30*time.Second, time.Minute, time.Minute),
		PairOffsetK:  0.03 * d.NormFloat64(), FlowSensorHot: d.chance(0.2),
		HeatRegisterBothWays: d.chance(0.4), RegisterStartKWh: math.Round(d.between(0, 9000)),
		HeatMeterClass: 2, ElectricityMeterClass: "B",
	}
	if d.chance(0.3) {
		p.Metering.Jitter = time.Second
	}
	p.Metering.OwnClocks, p.Metering.SlowOnChange = d.chance(0.12), d.chance(0.2)
	if d.chance(0.3) {
		p.Metering.DropoutShare = d.between(0.001, 0.01)
	}
	for _, q := range order {
		if d.publishes(q) {
			p.Metering.Quantities = append(p.Metering.Quantities, q)
		}
	}
}

// publishes always has what the analysis cannot do without.
func (d dice) publishes(q ingest.Quantity) bool {
	switch q {
	case ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.OutdoorTemp:
		return true
	case ingest.ModeQuantity, ingest.CompressorSpeed, ingest.RoomTemp, ingest.CylinderTemp, ingest.FlowTarget:
		return d.chance(0.5)
	}
	return d.chance(0.35)
}

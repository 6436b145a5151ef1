package rig

import (
	"time"

	"coldweek/ingest/rig/weather"
)

// Houses returns the three invented houses of the demo: one well-behaved, one
// whose machine is too large for its radiators and cycles in mild weather, and
// one whose strainer slowly blocks.
func Houses() []Plant {
	return []Plant{orchardHouse(), millCottage(), lindenhof()}
}

// orchardHouse runs as it should.
func orchardHouse() Plant {
	p := Plant{
		ID: "orchard-house", Name: "Orchard House, Nether Alderby", TimeZone: "Europe/London",
		LatitudeDeg: 52.1, LongitudeDeg: -2.4, Seed: 11, Climate: weather.MildWet(),
		House: House{HeatLossWPerK: 235, AirMJPerK: 6, FabricMJPerK: 38, GainsW: 480, SolarApertureM2: 2.6,
			RoomSetC: 20.5, Rooms: []string{"living", "kitchen", "bedroom"}},
		Emitters: Emitters{OutputAt50KW: 14.5, Exponent: 1.3, WaterL: 110, MetalKJPerK: 160},
		Loop:     Loop{VolumeL: 60, FlowLPH: 1080, HotWaterFlowLPH: 1200, PumpW: 38},
		HeatPump: HeatPump{RatedHeatKW: 8, MinimumHeatKW: 2.0, CapacityPerK: 0.016, CarnotShare: 0.54,
			MaximumFlowC: 62, StandbyW: 12, MaximumHz: 90, RampS: 80},
		HotWater: HotWater{CylinderL: 210, TargetC: 49, HysteresisK: 8, CoilWPerK: 1500, DailyKWh: 6.2, LossWPerK: 1.6,
			OutputShare: 0.75, HygieneC: 60, HygieneDay: time.Sunday, HygieneHour: 13, ImmersionKW: 3, MaximumLength: 2 * time.Hour},
		Design:   Design{OutdoorC: -3, HeatLossKW: 5.6, DifferenceK: 5, Commissioned: day(2024, 9, 12)},
		Metering: Metering{HeatMeterClass: 2, ElectricityMeterClass: "B", RegisterStartKWh: 1240},
	}
	p.Defrost = usualDefrost(ReverseCycle)
	p.Control = usualControl()
	p.Paperwork = orchardPaperwork()
	p.settle()
	return p
}

// millCottage has too large a lowest output and little water.
func millCottage() Plant {
	p := Plant{
		ID: "mill-cottage", Name: "Mill Cottage, Little Tarnbeck", TimeZone: "Europe/London",
		LatitudeDeg: 54.3, LongitudeDeg: -2.7, Seed: 23, Climate: weather.MildWet(),
		House: House{HeatLossWPerK: 165, AirMJPerK: 4, FabricMJPerK: 24, GainsW: 420, SolarApertureM2: 1.8,
			RoomSetC: 20, Rooms: []string{"living", "bedroom"}},
		Emitters: Emitters{OutputAt50KW: 8.6, Exponent: 1.32, WaterL: 30, MetalKJPerK: 50},
		Loop:     Loop{VolumeL: 24, FlowLPH: 900, HotWaterFlowLPH: 1000, PumpW: 32},
		HeatPump: HeatPump{RatedHeatKW: 9, MinimumHeatKW: 3.7, CapacityPerK: 0.016, CarnotShare: 0.52,
			MaximumFlowC: 60, StandbyW: 16, MaximumHz: 80, RampS: 70},
		HotWater: HotWater{CylinderL: 180, TargetC: 48, HysteresisK: 7, CoilWPerK: 1300, DailyKWh: 4.6, LossWPerK: 1.7,
			OutputShare: 0.65, MaximumLength: 2 * time.Hour},
		Design:   Design{OutdoorC: -4, HeatLossKW: 4.3, DifferenceK: 5, Commissioned: day(2024, 8, 20)},
		Metering: Metering{HeatMeterClass: 2, ElectricityMeterClass: "B", RegisterStartKWh: 860},
	}
	p.Defrost = usualDefrost(ReverseCycle)
	p.Control = usualControl()
	p.Control.StartBelowK, p.Control.StopAboveK = 3, 2
	p.Control.MinimumPause = 4 * time.Minute
	p.Paperwork = millPaperwork()
	p.settle()
	return p
}

// lindenhof loses its flow day by day.
func lindenhof() Plant {
	p := Plant{
		ID: "lindenhof", Name: "Lindenhof, Oberweidach", TimeZone: "Europe/Berlin",
		LatitudeDeg: 48.6, LongitudeDeg: 11.9, Seed: 37, Climate: weather.Continental(),
		House: House{HeatLossWPerK: 335, AirMJPerK: 9, FabricMJPerK: 70, GainsW: 620, SolarApertureM2: 3.8,
			RoomSetC: 21, Rooms: []string{"wohnen", "bad", "schlafen"}},
		Emitters: Emitters{OutputAt50KW: 44, Exponent: 1.1, WaterL: 150, MetalKJPerK: 40, SlabMJPerK: 7},
		Loop:     Loop{VolumeL: 90, FlowLPH: 1950, HotWaterFlowLPH: 1900, PumpW: 62},
		HeatPump: HeatPump{RatedHeatKW: 14, MinimumHeatKW: 3.6, CapacityPerK: 0.016, CarnotShare: 0.55,
			MaximumFlowC: 62, StandbyW: 18, MaximumHz: 100, RampS: 90},
		HotWater: HotWater{CylinderL: 300, TargetC: 50, HysteresisK: 8, CoilWPerK: 2400, DailyKWh: 9, LossWPerK: 1.9,
			OutputShare: 0.7, HygieneC: 62, HygieneDay: time.Saturday, HygieneHour: 12, MaximumLength: 2 * time.Hour, ImmersionKW: 4.5},
		Backup:   Backup{PowerKW: 6, BelowOutdoorC: -8},
		Design:   Design{OutdoorC: -13, HeatLossKW: 11.8, DifferenceK: 5, Commissioned: day(2024, 7, 3)},
		Metering: Metering{HeatMeterClass: 2, ElectricityMeterClass: "B", RegisterStartKWh: 2110, HeatRegisterBothWays: true},
		Troubles: []Trouble{{Kind: BlockingStrainer, After: 48 * time.Hour, Size: 2}},
	}
	p.Defrost = usualDefrost(ReverseCycle)
	p.Control = usualControl()
	p.Paperwork = lindenPaperwork()
	p.settle()
	return p
}

// settle sets the curve the house needs and writes its design point down.
func (p *Plant) settle() {
	p.Control.Curve = p.MatchedCurve(0.5)
	p.Design.FlowC = p.Control.Curve[0].FlowC
}

func day(year int, month time.Month, d int) time.Time {
	return time.Date(year, month, d, 0, 0, 0, 0, time.UTC)
}

// usualControl is a controller as delivered, without a curve.
func usualControl() Control {
	return Control{
		MinimumFlowC: 22, MaximumFlowC: 55, HeatingLimitC: 17, DampingH: 2,
		StartBelowK: 4.5, StopAboveK: 4, MinimumPause: 8 * time.Minute, Overrun: 5 * time.Minute,
		RoomCorrectionKPerK: 1.5, RoomCutOutK: 1.6,
	}
}

// usualDefrost is demand control in either style.
func usualDefrost(style DefrostStyle) Defrost {
	d := Defrost{
		Style: style, ThresholdKgPerKW: 0.19, HeatShare: 0.65, PowerShare: 0.5,
		MinimumInterval: 25 * time.Minute, MaximumLength: 10 * time.Minute, MinimumFlowTempC: 14,
	}
	if style == HotGas {
		d.ThresholdKgPerKW, d.PowerShare = 0.15, 0.65
	}
	return d
}

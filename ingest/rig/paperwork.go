package rig

import "coldweek/ingest/site"

// Paperwork is what the record tells that the simulation has no use for.
type Paperwork struct {
	Pipework  *site.Pipework
	PumpCurve []site.PumpPoint
	Tariff    *site.Tariff
	Contact   *site.Contact
	Note      *site.Note
}

// elbows of a leg; the coefficient is common practice for bends of this size.
func elbows(count int) []site.Fitting {
	return []site.Fitting{{Name: "elbow", Zeta: 0.9, Count: count}}
}

// radiator is a room's branch with its valves.
func radiator(name, room, size string, lengthM float64) site.Leg {
	return site.Leg{Name: name, Material: "copper", Size: size, LengthM: lengthM, ServesRoom: room,
		Fittings: []site.Fitting{{Name: "radiator with valves", Zeta: 12, Count: 1}, {Name: "elbow", Zeta: 1.2, Count: 4}}}
}

// inventedFactors is where the carbon factors come from.
const inventedFactors = "invented for the demonstration"

// The telephone number is of those that Ofcom keeps for fiction.
func british(homeowner string) (*site.Tariff, *site.Contact) {
	return &site.Tariff{Currency: "GBP", PricePerKWh: new(0.26), CarbonKgPerKWh: new(0.19), FormerFuel: "oil",
			FormerPricePerKWh: new(0.085), FormerEfficiency: new(0.84), FormerCarbonKgKWh: new(0.27), CarbonSource: inventedFactors},
		&site.Contact{Engineer: "Ruth Hallam, Hallam Heating", EngineerPhone: "01632 960112", EngineerEmail: "office@hallam.example", Homeowner: homeowner}
}

func orchardPaperwork() Paperwork {
	tariff, contact := british("the Okafor family")
	return Paperwork{
		Tariff: tariff, Contact: contact, PumpCurve: []site.PumpPoint{{FlowLPH: 400, HeadKPa: 62}, {FlowLPH: 1000, HeadKPa: 52}, {FlowLPH: 1500, HeadKPa: 36}, {FlowLPH: 2000, HeadKPa: 14}},
		Pipework: &site.Pipework{Legs: []site.Leg{{
			Name: "primaries", Material: "copper", Size: "28x0.9", LengthM: 12, Fittings: elbows(8),
			Legs: []site.Leg{
				radiator("living room", "living", "22x0.9", 14),
				radiator("kitchen", "kitchen", "22x0.9", 10),
				radiator("upstairs", "bedroom", "22x0.9", 18),
			},
		}}},
	}
}

func millPaperwork() Paperwork {
	tariff, contact := british("Mr and Mrs Tanner")
	return Paperwork{
		Tariff: tariff, Contact: contact, PumpCurve: []site.PumpPoint{{FlowLPH: 400, HeadKPa: 58}, {FlowLPH: 900, HeadKPa: 50}, {FlowLPH: 1600, HeadKPa: 24}},
		Pipework: &site.Pipework{Legs: []site.Leg{{
			Name: "primaries", Material: "copper", Size: "28x0.9", LengthM: 9, Fittings: elbows(6),
			Legs: []site.Leg{radiator("downstairs", "living", "22x0.9", 16), radiator("upstairs", "bedroom", "22x0.9", 14)},
		}}},
	}
}

func lindenPaperwork() Paperwork {
	floor := func(name, room string, lengthM float64) site.Leg {
		return site.Leg{Name: name, Material: "multilayer", Size: "32x3", LengthM: lengthM, ServesRoom: room,
			Fittings: []site.Fitting{{Name: "manifold and loops", Zeta: 25, Count: 1}}}
	}
	return Paperwork{
		Tariff:    &site.Tariff{Currency: "EUR", PricePerKWh: new(0.31), CarbonKgPerKWh: new(0.36), FormerFuel: "gas", FormerPricePerKWh: new(0.11), FormerEfficiency: new(0.88), FormerCarbonKgKWh: new(0.2), CarbonSource: "für die Vorführung erfunden"},
		Note:      &site.Note{Language: "de"},
		Contact:   &site.Contact{Engineer: "Jonas Wirth, Wirth Haustechnik", EngineerEmail: "buero@wirth.example", Homeowner: "Familie Brandl"},
		PumpCurve: []site.PumpPoint{{FlowLPH: 800, HeadKPa: 74}, {FlowLPH: 1800, HeadKPa: 62}, {FlowLPH: 2800, HeadKPa: 34}},
		Pipework: &site.Pipework{Legs: []site.Leg{{
			Name: "primaries", Material: "copper", Size: "35x1.2", LengthM: 16, Fittings: elbows(10),
			Legs: []site.Leg{floor("ground floor", "wohnen", 10), floor("bathrooms", "bad", 14), floor("upper floor", "schlafen", 18)},
		}}},
	}
}

package metrology

// ElectricityClass is the accuracy class on the plate of an electricity meter.
type ElectricityClass string

// The classes of EN 50470-3 and Annex V of the directive.
const (
	// ElectricityClassNotGiven is a meter of unknown class; B is assumed, the
	// usual one in houses.
	ElectricityClassNotGiven ElectricityClass = ""
	ElectricityClassA        ElectricityClass = "A"
	ElectricityClassB        ElectricityClass = "B"
	ElectricityClassC        ElectricityClass = "C"
	// ElectricityUnclassified is power that no approved meter counted: a clamp
	// or the heat pump's own estimate.
	ElectricityUnclassified ElectricityClass = "unclassified"
)

// unclassifiedElectricityPct is an assumption (no source).
const unclassifiedElectricityPct = 5

// Load is where the current stands against the transitional current Itr.
type Load int

// The two load ranges of the directive.
const (
	LoadBelowTransition Load = iota // Imin to Itr
	LoadNormal                      // Itr to Imax
)

// temperatureRanges are the operating temperatures of Table 2, the narrowest
// first; each holds all before it.
var temperatureRanges = []struct{ fromC, toC float64 }{{5, 30}, {-10, 40}, {-25, 55}, {-40, 70}}

// energyLimits is Directive 2014/32/EU, Annex V, Table 2, for single-phase
// meters and polyphase meters with balanced loads, in percent: by class and
// load for each of temperatureRanges.
var energyLimits = map[ElectricityClass][2][4]float64{
	ElectricityClassA: {{3.5, 5, 7, 9}, {3.5, 4.5, 7, 9}},
	ElectricityClassB: {{2, 2.5, 3.5, 4}, {2, 2.5, 3.5, 4}},
	ElectricityClassC: {{1, 1.3, 1.7, 2}, {0.7, 1, 1.3, 1.5}},
}

// LimitPct returns the error limit at a load and a temperature around the
// meter, and false outside -40 to 70 °C, where the directive sets none.
func (c ElectricityClass) LimitPct(load Load, ambientC float64) (float64, bool) {
	if c == ElectricityUnclassified {
		return unclassifiedElectricityPct, true
	}
	byLoad, known := energyLimits[c]
	if !known {
		byLoad = energyLimits[ElectricityClassB]
	}
	for i, r := range temperatureRanges {
		if ambientC >= r.fromC && ambientC <= r.toC {
			return byLoad[load][i], true
		}
	}
	return 0, false
}

// usualLimitPct is the limit for a meter indoors that counts a heat pump: while
// the compressor runs the current is far above Itr. Standby may lie below Imin,
// where nothing is promised, but it is little energy.
func (c ElectricityClass) usualLimitPct() float64 {
	const indoorsC = 20
	limitPct, _ := c.LimitPct(LoadNormal, indoorsC)
	return limitPct
}

// Assumed says in words what was taken for granted because the plate was not
// given.
func (c ElectricityClass) Assumed() []string {
	if c == ElectricityUnclassified {
		return []string{"no electricity meter of a class: electricity within 5 %"}
	}
	if _, known := energyLimits[c]; !known {
		return []string{"electricity meter of class B"}
	}
	return nil
}

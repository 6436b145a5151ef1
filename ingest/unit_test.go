package ingest_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

// Each row stands on the definition of the unit, not on a factor: SI brochure
// 9th edition (2019) tables 4 and 8 for litre, bar, hour, degree Celsius and
// joule; UCUM 2.1 for the codes.
func TestConvertFollowsDefinitions(t *testing.T) {
	cases := []struct {
		value    float64
		unit     ingest.Unit
		quantity ingest.Quantity
		want     float64
		why      string
	}{
		{21.5, "Cel", ingest.RoomTemp, 21.5, "canonical"},
		{273.16, "K", ingest.FlowTemp, 0.01, "triple point of water, SI brochure 2.3.1"},
		{373.15, "K", ingest.FlowTemp, 100, "t/°C = T/K - 273.15, SI brochure 2.3.1"},
		{32, "[degF]", ingest.OutdoorTemp, 0, "ice point, NIST SP 811 B.8: t/°C = (t/°F - 32)/1.8"},
		{212, "[degF]", ingest.FlowTemp, 100, "steam point, NIST SP 811 B.8"},
		{-40, "[degF]", ingest.OutdoorTemp, -40, "where both scales meet, NIST SP 811 B.8"},
		{20, "L/min", ingest.FlowRate, 1200, "60 min an hour"},
		{0.25, "L/s", ingest.FlowRate, 900, "3600 s an hour"},
		{1.2, "m3/h", ingest.FlowRate, 1200, "1 L = 1 dm³, SI brochure table 8"},
		{0.001, "m3/s", ingest.FlowRate, 3600, "1 L = 1 dm³, SI brochure table 8"},
		{1, "[gal_us]/min", ingest.FlowRate, 227.12470704, "231 in³ = 3.785411784 L, NIST SP 811 B.8"},
		{1, "[gal_br]/min", ingest.FlowRate, 272.7654, "4.54609 dm³, UK Weights and Measures Act 1985 schedule 1"},
		{2.5, "kW", ingest.Power, 2500, "kilo, SI brochure table 7"},
		{0.01, "MW", ingest.HeatOutput, 10_000, "mega, SI brochure table 7"},
		{3.6, "MJ", ingest.HeatRegister, 1, "1 W·h = 3600 J, SI brochure table 8"},
		{3600, "kJ", ingest.HeatRegister, 1, "1 W·h = 3600 J"},
		{3.6e6, "J", ingest.HeatRegister, 1, "1 W·h = 3600 J"},
		{36, "GJ", ingest.HeatRegister, 10_000, "1 W·h = 3600 J"},
		{1500, "W.h", ingest.ElectricityRegister, 1.5, "kilo"},
		{1.5, "MW.h", ingest.ElectricityRegister, 1500, "mega over kilo"},
		{2500, "L", ingest.VolumeRegister, 2.5, "1 L = 1 dm³"},
		{3000, "/min", ingest.CompressorSpeed, 50, "60 s a minute"},
		{1, "[psi]", ingest.Pressure, 0.06894757293168361, "0.45359237 kg x 9.80665 m/s² / (0.0254 m)²; NIST SP 811 B.8 gives 6.894757E+03 Pa"},
		{150, "kPa", ingest.Pressure, 1.5, "1 bar = 100 kPa, SI brochure table 8 note"},
		{1.5e5, "Pa", ingest.Pressure, 1.5, "1 bar = 100 kPa"},
		{1013.25, "hPa", ingest.Pressure, 1.01325, "standard atmosphere, 10th CGPM (1954)"},
		{1500, "mbar", ingest.Pressure, 1.5, "milli"},
		{0.62, "1", ingest.OutdoorHumidity, 62, "UCUM: % is 10*-2"},
		{0.8, "kW/m2", ingest.Irradiance, 800, "kilo"},
	}
	for _, c := range cases {
		got, err := c.unit.Convert(c.value, c.quantity)
		require.NoError(t, err, c.why)
		assert.InDelta(t, c.want, got, 1e-12*max(1, abs(c.want)), "%g %s: %s", c.value, c.unit, c.why)
	}
}

func abs(x float64) float64 { return max(x, -x) }

func TestConvertRefusesAnotherDimension(t *testing.T) {
	_, err := ingest.Unit("kW.h").Convert(3, ingest.Power)
	assert.EqualError(t, err, `unit "kW.h" does not fit power, which needs one of [MW W kW]`)
	_, err = ingest.Unit("1").Convert(3, ingest.Power)
	assert.Error(t, err)
	_, err = ingest.Unit("furlong").Convert(3, ingest.Power)
	assert.Error(t, err)
}

// Convert and FitsIn must agree, for every unit and every quantity.
func TestFitsInAgreesWithConvert(t *testing.T) {
	for _, text := range ingest.UnitSpellings() {
		u, err := ingest.ParseUnit(text)
		require.NoError(t, err)
		for _, q := range ingest.Quantities() {
			_, err := u.Convert(1, q)
			assert.Equal(t, u.FitsIn(q.Unit()), err == nil, "%s for %s", u, q)
		}
	}
}

func TestAlternativesHoldsTheCanonicalUnit(t *testing.T) {
	for _, q := range ingest.Quantities() {
		assert.Contains(t, ingest.Alternatives(q.Unit()), q.Unit())
	}
	assert.Equal(t, []ingest.Unit{"%", "1"}, ingest.Alternatives(ingest.Percent))
}

// UCUM 2.1 codes; SenML names of RFC 8428 section 12.1 (Cel, l, l/s, m3/s, /,
// %RH) and of RFC 8798 section 3 (kWh, Wh, kW, hPa, /100).
func TestParseUnitSpellings(t *testing.T) {
	cases := map[string]ingest.Unit{
		"Cel": "Cel", "°C": "Cel", "C": "Cel", "degC": "Cel", "K": "K", "°F": "[degF]",
		"L/h": "L/h", "l/h": "L/h", " l/h ": "L/h", "L/min": "L/min", "l/min": "L/min", "l/s": "L/s",
		"m3/h": "m3/h", "m³/h": "m3/h", "m3/s": "m3/s",
		"W": "W", "kW": "kW", "kw": "kW", "MW": "MW",
		"kW.h": "kW.h", "kWh": "kW.h", "Wh": "W.h", "MWh": "MW.h", "MJ": "MJ", "GJ": "GJ", "J": "J",
		"m3": "m3", "m³": "m3", "l": "L", "Hz": "Hz", "rpm": "/min", "1/min": "/min",
		"bar": "bar", "kPa": "kPa", "Pa": "Pa", "hPa": "hPa", "psi": "[psi]",
		"%": "%", "%RH": "%", "/100": "%", "/": "1", "": "1", "1": "1", "W/m2": "W/m2", "W/m²": "W/m2",
	}
	for text, want := range cases {
		got, err := ingest.ParseUnit(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
}

func TestParseUnitSaysWhatWouldBeRight(t *testing.T) {
	_, err := ingest.ParseUnit("KWH")
	assert.EqualError(t, err, `unit "KWH" is not known; did you mean "kW.h"?`)
	_, err = ingest.ParseUnit("furlong")
	assert.ErrorContains(t, err, "use a UCUM code such as Cel")
}

func TestUnitSpellings(t *testing.T) {
	assert.Equal(t, []string{"kW", "kw"}, ingest.UnitSpellings("kW"))
	assert.NotContains(t, ingest.UnitSpellings(), "", "an empty spelling helps nobody to choose")
}

func TestSymbol(t *testing.T) {
	assert.Equal(t, "°C", ingest.DegreeCelsius.Symbol())
	assert.Equal(t, "l/h", ingest.LitrePerHour.Symbol())
	assert.Equal(t, "kWh", ingest.KilowattHour.Symbol())
	assert.Equal(t, "m³", ingest.CubicMetre.Symbol())
	assert.Equal(t, "W/m²", ingest.WattPerSquareMetre.Symbol())
	assert.Equal(t, "", ingest.One.Symbol())
	assert.Equal(t, "W", ingest.Watt.Symbol())
}

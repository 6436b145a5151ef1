package ingest

import (
	"fmt"
	"slices"
	"strings"
)

// Unit is a UCUM code (case-sensitive), such as "Cel", "L/h" or "kW.h".
type Unit string

// Canonical units: one for each dimension that channels have.
const (
	DegreeCelsius      Unit = "Cel"
	LitrePerHour       Unit = "L/h"
	Watt               Unit = "W"
	KilowattHour       Unit = "kW.h"
	CubicMetre         Unit = "m3"
	Hertz              Unit = "Hz"
	Bar                Unit = "bar"
	Percent            Unit = "%"
	WattPerSquareMetre Unit = "W/m2"
	One                Unit = "1"
)

// conversion to the canonical unit: canonical = value*factor + offset.
type conversion struct {
	to             Unit
	factor, offset float64
}

// Factors are exact by definition: SI brochure and UCUM; the gallons in litres
// (231 cubic inches; UK Weights and Measures Act 1985); the psi from the
// avoirdupois pound of 0.45359237 kg, the inch of 0.0254 m and standard
// gravity.
var conversions = map[Unit]conversion{
	"Cel":          {DegreeCelsius, 1, 0},
	"K":            {DegreeCelsius, 1, -273.15},
	"[degF]":       {DegreeCelsius, 5.0 / 9, -160.0 / 9},
	"L/h":          {LitrePerHour, 1, 0},
	"L/min":        {LitrePerHour, 60, 0},
	"L/s":          {LitrePerHour, 3600, 0},
	"m3/h":         {LitrePerHour, 1000, 0},
	"m3/s":         {LitrePerHour, 3.6e6, 0},
	"[gal_us]/min": {LitrePerHour, 3.785411784 * 60, 0},
	"[gal_br]/min": {LitrePerHour, 4.54609 * 60, 0},
	"W":            {Watt, 1, 0},
	"kW":           {Watt, 1000, 0},
	"MW":           {Watt, 1e6, 0},
	"kW.h":         {KilowattHour, 1, 0},
	"W.h":          {KilowattHour, 1e-3, 0},
	"MW.h":         {KilowattHour, 1e3, 0},
	"J":            {KilowattHour, 1 / 3.6e6, 0},
	"kJ":           {KilowattHour, 1 / 3.6e3, 0},
	"MJ":           {KilowattHour, 1 / 3.6, 0},
	"GJ":           {KilowattHour, 1000 / 3.6, 0},
	"m3":           {CubicMetre, 1, 0},
	"L":            {CubicMetre, 1e-3, 0},
	"Hz":           {Hertz, 1, 0},
	"/min":         {Hertz, 1.0 / 60, 0},
	"bar":          {Bar, 1, 0},
	"mbar":         {Bar, 1e-3, 0},
	"Pa":           {Bar, 1e-5, 0},
	"hPa":          {Bar, 1e-3, 0},
	"kPa":          {Bar, 1e-2, 0},
	"[psi]":        {Bar, 0.45359237 * 9.80665 / (0.0254 * 0.0254) * 1e-5, 0},
	"%":            {Percent, 1, 0},
	"1":            {One, 1, 0},
	"W/m2":         {WattPerSquareMetre, 1, 0},
	"kW/m2":        {WattPerSquareMetre, 1000, 0},
}

// spellings people and SenML (RFC 8428 section 12.1, RFC 8798) use for a code.
var spellings = map[string]Unit{
	"°C": "Cel", "C": "Cel", "degC": "Cel", "deg C": "Cel", "celsius": "Cel",
	"°F": "[degF]", "F": "[degF]", "degF": "[degF]",
	"l/h": "L/h", "lph": "L/h", "L/hr": "L/h", "l/hr": "L/h",
	"l/min": "L/min", "lpm": "L/min", "l/s": "L/s", "lps": "L/s",
	"m³/h": "m3/h", "m^3/h": "m3/h", "m3h": "m3/h", "m³/s": "m3/s", "gpm": "[gal_us]/min",
	"w": "W", "watt": "W", "kw": "kW",
	"kWh": "kW.h", "kwh": "kW.h", "Wh": "W.h", "wh": "W.h", "MWh": "MW.h", "mwh": "MW.h",
	"m³": "m3", "m^3": "m3", "l": "L", "litre": "L",
	"hz": "Hz", "1/s": "Hz", "rpm": "/min", "1/min": "/min",
	"psi": "[psi]", "pct": "%", "%RH": "%", "percent": "%", "/100": "%",
	"W/m²": "W/m2", "W/m^2": "W/m2", "w_m2": "W/m2", "/": "1", "": "1",
}

// ParseUnit reads a UCUM code or one of the usual spellings. No unit at all is
// One. The error names the unit that was meant, where case alone is wrong.
func ParseUnit(s string) (Unit, error) {
	s = strings.TrimSpace(s)
	if u, ok := unitOf(s); ok {
		return u, nil
	}
	for _, known := range UnitSpellings() {
		if strings.EqualFold(s, known) {
			u, _ := unitOf(known)
			return "", fmt.Errorf("unit %q is not known; did you mean %q?", s, string(u))
		}
	}
	return "", fmt.Errorf("unit %q is not known; use a UCUM code such as Cel, L/h, L/min, m3/h, W, kW, kW.h, bar, %%", s)
}

func unitOf(s string) (Unit, bool) {
	if _, ok := conversions[Unit(s)]; ok {
		return Unit(s), true
	}
	u, ok := spellings[s]
	return u, ok
}

// UnitSpellings returns every non-empty text that ParseUnit reads as one of
// the units, or as any unit when none is named: sorted, codes first.
func UnitSpellings(units ...Unit) []string {
	wanted := func(u Unit) bool { return len(units) == 0 || slices.Contains(units, u) }
	var codes, others []string
	for u := range conversions {
		if wanted(u) {
			codes = append(codes, string(u))
		}
	}
	for s, u := range spellings {
		if s != "" && wanted(u) {
			others = append(others, s)
		}
	}
	slices.Sort(codes)
	slices.Sort(others)
	return append(codes, others...)
}

// Symbol returns the unit as people write it: "°C", "l/h", "kWh".
func (u Unit) Symbol() string {
	switch u {
	case DegreeCelsius:
		return "°C"
	case LitrePerHour:
		return "l/h"
	case KilowattHour:
		return "kWh"
	case CubicMetre:
		return "m³"
	case WattPerSquareMetre:
		return "W/m²"
	case One:
		return ""
	}
	return string(u)
}

// FitsIn says whether values in u can be converted to the canonical unit.
func (u Unit) FitsIn(canonical Unit) bool {
	if u == One && canonical == Percent {
		return true
	}
	c, ok := conversions[u]
	return ok && c.to == canonical
}

// Alternatives returns the codes that fit in the canonical unit, sorted.
func Alternatives(canonical Unit) []Unit {
	var codes []Unit
	for u := range conversions {
		if u.FitsIn(canonical) {
			codes = append(codes, u)
		}
	}
	slices.Sort(codes)
	return codes
}

// Convert turns a value in u into q's canonical unit. A bare ratio becomes a
// percentage. The error names the units that would fit.
func (u Unit) Convert(value float64, q Quantity) (float64, error) {
	if u == One && q.Unit() == Percent {
		return value * 100, nil
	}
	c, ok := conversions[u]
	if !ok || c.to != q.Unit() {
		return 0, fmt.Errorf("unit %q does not fit %s, which needs one of %v", string(u), q, Alternatives(q.Unit()))
	}
	return value*c.factor + c.offset, nil
}

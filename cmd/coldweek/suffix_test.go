package main

import (
	"go/ast"
	"slices"
	"strings"
	"testing"
	"unicode"
)

// unitSuffixes are the units a name can end in. "C" is an absolute
// temperature in °C, "K" a difference.
var unitSuffixes = []string{
	"C", "K", "W", "KW", "WPerK", "J", "KWh", "MJ", "LPH", "M3H", "L", "M3", "S", "MS", "H", "Hours", "Minutes", "D", "Hz", "Bar", "KPa",
	"Pa", "Pct", "WM2", "M", "M2", "MM", "Deg", "JKg", "KgM3", "JKgK", "JM3K", "PaS", "WMK", "KPerK", "KW_H", "KWhPerD",
	"PerKWh", "KgPerKWh", "KgKWh", "PctPerWeek", "J2", "KWhK", "PerH", "JPerK", "LPM", "KPerS", "Px", "Kg", "WPerM2",
}

// unitless are last words of quantities without a unit: ratios in [0,1],
// counts, coefficients, and values whose unit their channel carries.
var unitless = []string{
	"Value", "Values", "Ratio", "Share", "Factor", "Efficiency", "COP", "Coverage", "Overall", "Space", "Low", "High", "Weight", "Total",
	"Width", "Exponent", "Zeta", "RMS", "Hour", "HotWater", "Offset", "Slope", "Intercept", "Variance", "Tau",
}

// TestQuantitiesNameTheirUnit: every float64 field and parameter that holds a
// quantity ends in its unit or in a word for something without one. Names of
// one or two letters are formula letters, explained where they stand.
func TestQuantitiesNameTheirUnit(t *testing.T) {
	walkSource(t, func(path string, file *ast.File) {
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.StructType:
				checkFields(t, path, n.Fields)
			case *ast.FuncDecl:
				checkFields(t, path, n.Type.Params)
			}
			return true
		})
	})
}

func checkFields(t *testing.T, path string, fields *ast.FieldList) {
	for _, field := range fields.List {
		if !isFloat(field.Type) {
			continue
		}
		for _, name := range field.Names {
			if len(name.Name) > 2 && !namesUnit(name.Name) {
				t.Errorf("%s: %s is a float64 that names neither its unit nor a quantity without one; add a suffix such as C, K, W, KWh, LPH", path, name.Name)
			}
		}
	}
}

func isFloat(expr ast.Expr) bool {
	switch e := expr.(type) {
	case *ast.Ident:
		return e.Name == "float64"
	case *ast.StarExpr:
		return isFloat(e.X)
	case *ast.ArrayType:
		return isFloat(e.Elt)
	case *ast.Ellipsis:
		return isFloat(e.Elt)
	}
	return false
}

func namesUnit(name string) bool {
	for _, suffix := range unitSuffixes {
		if rest, ok := strings.CutSuffix(name, suffix); ok && rest != "" && !unicode.IsUpper(rune(rest[len(rest)-1])) {
			return true
		}
	}
	title := strings.ToUpper(name[:1]) + name[1:]
	return slices.ContainsFunc(unitless, func(word string) bool { return strings.HasSuffix(title, word) })
}

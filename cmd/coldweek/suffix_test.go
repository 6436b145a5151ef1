package main

import (
	"go/ast"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// quantityWords name something physical; a float64 whose name holds one must
// say its unit.
var quantityWords = []string{
	"temp", "temperature", "outdoor", "room", "cylinder", "power", "heat", "energy", "electricity", "loss", "flow", "return",
	"pressure", "volume", "head", "length", "area", "duration", "speed", "price", "difference",
}

// unitWords end a name with its unit, the letters in Go's camel case. C is an
// absolute temperature in °C, K a difference.
var unitWords = []string{
	"C", "K", "W", "KW", "WPerK", "J", "KWh", "LPH", "LPM", "M3H", "L", "M3", "S", "MS", "H", "Hours", "Minutes", "D", "Hz", "Bar",
	"KPa", "Pa", "Pct", "M", "M2", "Deg", "WS", "KS", "CS", "KSq", "JSq",
}

// perUnit is a unit written as one over another: WPerK, JPerKgK, MJPerK.
var perUnit = regexp.MustCompile(`[A-Z][A-Za-z0-9]*Per[A-Z][A-Za-z0-9]*$`)

// compoundUnits are products and quotients written without Per.
var compoundUnits = []string{"WM2", "JKg", "KgM3", "JKgK", "JM3K", "PaS", "KWhD", "LPHWK"}

// unitlessWords end the names of ratios, counts and coefficients, and of values
// whose unit their channel carries.
var unitlessWords = []string{"Share", "Ratio", "Factor", "Efficiency", "Exponent", "Coverage", "Value", "Slope", "Index", "Count"}

// bareEfficiencies are the answer's keys for ratios, fixed by its contract.
var bareEfficiencies = []string{"analysis/job/result.go: HotWater"}

// TestQuantitiesNameTheirUnit looks at struct fields and parameters of type
// float64 everywhere but in the drawing layer, which measures in pixels.
func TestQuantitiesNameTheirUnit(t *testing.T) {
	walkSource(t, func(path string, file *ast.File) {
		if strings.HasPrefix(path, "dashboards/chart/") {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.StructType:
				checkFields(t, path, n.Fields)
			case *ast.FuncType:
				checkFields(t, path, n.Params)
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
			if namesQuantity(name.Name) && !namesUnit(name.Name) && !slices.Contains(bareEfficiencies, path+": "+name.Name) {
				t.Errorf("%s: %s names a quantity and not its unit; add a suffix such as C, K, W, KWh, LPH, or Share for a ratio", path, name.Name)
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

var camel = regexp.MustCompile(`[A-Z]?[a-z0-9]+|[A-Z]+(?:[a-z0-9]+)?`)

// namesQuantity says whether one of the name's words is a quantity.
func namesQuantity(name string) bool {
	return slices.ContainsFunc(camel.FindAllString(name, -1), func(word string) bool {
		return slices.Contains(quantityWords, strings.ToLower(word))
	})
}

func namesUnit(name string) bool {
	if perUnit.MatchString(name) || strings.HasPrefix(name, "ShareOf") {
		return true
	}
	ends := func(suffix string) bool {
		rest, ok := strings.CutSuffix(name, suffix)
		return ok && rest != "" && rest[len(rest)-1] >= 'a'
	}
	return slices.ContainsFunc(unitWords, ends) || slices.ContainsFunc(compoundUnits, ends) || slices.ContainsFunc(unitlessWords, ends)
}

func TestNamesUnitTellsUnitsFromOtherEndings(t *testing.T) {
	for _, name := range []string{"flowC", "liftK", "heatKWh", "capacityPerK", "HeatLossWPerK", "flowShare", "DensityKgM3"} {
		if !namesUnit(name) {
			t.Errorf("%s names its unit", name)
		}
	}
	for _, name := range []string{"flow", "heatLoss", "power", "flowTemp", "outdoorAC"} {
		if namesUnit(name) || !namesQuantity(name) {
			t.Errorf("%s names a quantity without its unit", name)
		}
	}
}

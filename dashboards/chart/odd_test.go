package chart

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// odd makes charts of what sensors, fits and owners may come up with.
type odd struct{ *rand.Rand }

var oddValues = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 1, 1, 1, -1, -273.15, 1e-300, 1e5, -1e5, 1e6, 1e7, -1e300, 1e300, 21.4, 35, -12, 0.5}

func (o odd) value() float64 {
	if o.IntN(3) == 0 {
		return oddValues[o.IntN(len(oddValues))]
	}
	return 40 * (o.Float64() - 0.4)
}

// count is none, one, a few or very many.
func (o odd) count() int { return []int{0, 1, 2, 3, 30, 400, 10_000}[o.IntN(7)] }

func (o odd) date() time.Time {
	switch o.IntN(12) {
	case 0:
		return time.Time{}
	case 1:
		return time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)
	}
	return time.Date(2026, 1, 1+o.IntN(900), o.IntN(24), 0, 0, 0, time.UTC)
}

func (o odd) name() string { return hostileNames[o.IntN(len(hostileNames))] }

func (o odd) role() Role { return []Role{Heat, Cylinder, Backup, Idle, "", "none"}[o.IntN(6)] }

func (o odd) size() Size {
	size := Size{[]float64{380, 700, 1200, 0, -5, 1e9, math.NaN(), math.Inf(1)}[o.IntN(8)], 0}
	if o.IntN(2) == 0 {
		size.Height = o.value()
	}
	return size
}

func list[T any](o odd, make func() T) []T {
	all := []T{}
	same := o.IntN(4) == 0
	one := make()
	for range o.count() {
		if !same {
			one = make()
		}
		all = append(all, one)
	}
	return all
}

func (o odd) curve() []CurveHour {
	if o.IntN(3) == 0 {
		return straight(-20, 55, 25, -0.6)
	}
	return list(o, func() CurveHour { return CurveHour{o.value(), o.value()} })
}

func (o odd) drawings() []drawing {
	outdoorC, kPa := o.value(), o.value()
	return []drawing{
		HeatByOutdoor{ID: "h", Need: o.IntN(9), Size: o.size(), Design: &HeatDesign{o.value(), o.value()}, Loss: &HeatFit{o.value(), o.value(), o.value(), o.value()},
			Days: list(o, func() HeatDay { return HeatDay{o.date(), o.value(), o.value(), o.IntN(3) == 0, o.name()} }),
			Fit:  list(o, func() HeatFit { return HeatFit{o.value(), o.value(), o.value(), o.value()} })},
		CurveScatter{ID: "c", Need: o.IntN(9), Size: o.size(), Hours: o.curve(), Set: o.curve(), Fitted: o.curve(), Lowest: o.curve(), DesignOutdoorC: &outdoorC},
		DefrostsByOutdoor{ID: "d", Size: o.size(), Bins: list(o, func() DefrostBin { return DefrostBin{o.value(), o.value(), o.value(), o.value(), o.IntN(9) - 1} })},
		FlowDays{ID: "f", Size: o.size(), Days: list(o, func() FlowDay { return FlowDay{o.date(), o.value(), o.value(), o.value()} }),
			Limits:   list(o, func() FlowLimit { return FlowLimit{o.name(), o.value()} }),
			Findings: list(o, func() FlowFinding { return FlowFinding{o.date(), o.name()} })},
		MonthlySPF{ID: "m", Boundary: o.name(), Size: o.size(), Months: list(o, func() SPFMonth {
			return SPFMonth{o.date(), o.value(), o.value(), o.value(), o.value(), o.value(), o.value()}
		})},
		RunLengths{ID: "r", ShortMinutes: o.value(), Size: o.size(), Classes: list(o, func() RunClass { return RunClass{o.value(), o.IntN(50) - 1} })},
		RunLengths{ID: "s", ShortMinutes: o.value(), Size: o.size(), Classes: ClassRuns(list(o, o.value), o.value())},
		PipeTree{ID: "p", IndexLossKPa: &kPa, Size: o.size(), Legs: list(o, func() PipeLeg {
			return PipeLeg{o.name(), o.IntN(40) - 3, o.name(), o.value(), o.value(), o.value(), o.IntN(3) == 0, o.IntN(3) == 0}
		})},
		ElectricitySplit{ID: "e", Size: o.size(), Parts: list(o, func() ElectricityPart { return ElectricityPart{o.name(), o.role(), o.value()} })},
	}
}

// checkOdd fails if a chart leaves its picture, sets letters on letters, or grows
// without bound.
func checkOdd(t *testing.T, seed uint64) {
	t.Helper()
	for _, d := range (odd{rand.New(rand.NewPCG(seed, 1))}).drawings() {
		name := fmt.Sprintf("seed %d, %T", seed, d)
		size, r := d.Extent(), draw(d)
		checkTexts(t, name, r.texts, size)
		checkShapes(t, r, size)
		require.LessOrEqual(t, len(d.SVG()), 90_000, name)
	}
	checkSound(t, seed)
}

// checkSound fails if a chart panics, has a size nobody asked for, or is no picture.
func checkSound(t *testing.T, seed uint64) {
	t.Helper()
	for _, d := range (odd{rand.New(rand.NewPCG(seed, 1))}).drawings() {
		name := fmt.Sprintf("seed %d, %T", seed, d)
		size := d.Extent()
		require.True(t, size.Width >= leastWidth && size.Width <= greatestExtent && size.Height > 0 && size.Height <= 2*greatestExtent, "%s: %v", name, size)
		picture := d.SVG()
		require.LessOrEqual(t, len(picture), 400_000, name)
		require.NotContains(t, string(picture), "NaN", name)
		require.NotContains(t, string(picture), "Inf", name)
		parseSVG(t, picture)
	}
}

func TestOddValuesBreakNoChart(t *testing.T) {
	for seed := range uint64(30) {
		checkOdd(t, seed)
	}
	checkOdd(t, 97) // words that had no room below each other
}

// FuzzOddValues holds charts to be sound. How letters lie with values no plant has
// is looked at above, for a few.
func FuzzOddValues(f *testing.F) {
	f.Add(uint64(1))
	f.Fuzz(checkSound)
}

package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestComparedBarsShareTheirScale(t *testing.T) {
	m := Comparison{Heading: "Electricity", Unit: "kWh", Size: Size{380, 0}, Bars: []ComparedBar{{Name: "now", Value: 100}, {Name: "then", Value: 400}, {Name: "before", Value: math.NaN()}}}
	r := draw(m)
	require.GreaterOrEqual(t, len(r.rects), 3)
	assert.Equal(t, Power, r.rects[0].role)
	assert.InDelta(t, 4, r.rects[1].box.W/r.rects[0].box.W, 1e-9)
	assert.Equal(t, Missing, r.rects[2].role)
	assert.Subset(t, r.said(), []string{"100\u00a0kWh", "400\u00a0kWh", "not known"})
	assert.Equal(t, "now 100\u00a0kWh; then 400\u00a0kWh; before not known.", parseSVG(t, m.SVG())[2].text)
}

func TestTheSplitAddsUp(t *testing.T) {
	e := ElectricitySplit{Size: Size{380, 0}, Parts: []ElectricityPart{{"Space heating", Heat, 300}, {"Hot water", Cylinder, 80}, {"Standby", Idle, 20}, {"Backup", Backup, math.NaN()}, {"Defrosts", Defrosting, -5}}}
	r := draw(e)
	width := 0.0
	for _, f := range r.rects {
		if f.box.H == splitBar {
			width += f.box.W
		}
	}
	assert.InDelta(t, 380-2*2, width, 1e-9, "the whole width but for the gaps")
	assert.Subset(t, r.said(), []string{"75\u00a0%", "20\u00a0%", "5.0\u00a0%", "300\u00a0kWh", "not known", "400\u00a0kWh in all"})
	assert.Contains(t, draw(ElectricitySplit{Size: Size{380, 0}}).said(), "No electricity measured yet")
}

func BenchmarkComparison(b *testing.B) { benchmark(b, makers["compare"]("c", Size{700, 0})) }

func BenchmarkElectricitySplit(b *testing.B) { benchmark(b, makers["split"]("s", Size{700, 0})) }

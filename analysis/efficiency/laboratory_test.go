package efficiency_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/efficiency"
	"coldweek/ingest/checktable"
)

// flatShare are test points of a machine whose share of Carnot is a plane, at
// the temperatures of an EN 14511 table.
func flatShare(share func(outdoorC, flowC float64) float64) []efficiency.Point {
	var points []efficiency.Point
	for _, flowC := range []float64{35, 45, 55} {
		for _, outdoorC := range []float64{-7, 2, 7} {
			points = append(points, efficiency.Point{OutdoorC: outdoorC, FlowC: flowC, COP: share(outdoorC, flowC) * efficiency.CarnotCOP(outdoorC, flowC)})
		}
	}
	return points
}

// TestLaboratoryIsExactOnAPlane: between points whose share of Carnot is a
// plane, every interpolation by planes is exact.
func TestLaboratoryIsExactOnAPlane(t *testing.T) {
	share := func(outdoorC, flowC float64) float64 { return 0.42 + 0.002*outdoorC - 0.001*(flowC-35) }
	lab := efficiency.NewLaboratory(flatShare(share))
	random := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		outdoorC, flowC := -7+14*random.Float64(), 35+20*random.Float64()
		got, ok := lab.Share(outdoorC, flowC)
		assert.True(t, ok, "A%g/W%g lies within the table", outdoorC, flowC)
		assert.InDelta(t, share(outdoorC, flowC), got, 1e-9)
	}
}

// TestLaboratoryHeatIsExactOnAPlane: as the share is, and not known where a point
// does not give it.
func TestLaboratoryHeatIsExactOnAPlane(t *testing.T) {
	heatW := func(outdoorC, flowC float64) float64 { return 8000 + 120*outdoorC - 25*(flowC-35) }
	points := flatShare(func(float64, float64) float64 { return 0.4 })
	_, ok := efficiency.NewLaboratory(points).HeatW(0, 40)
	assert.False(t, ok)
	for i := range points {
		points[i].HeatW = heatW(points[i].OutdoorC, points[i].FlowC)
	}
	lab := efficiency.NewLaboratory(points)
	for _, at := range [][2]float64{{-7, 35}, {-3, 41}, {6.5, 54}} {
		got, ok := lab.HeatW(at[0], at[1])
		assert.True(t, ok)
		assert.InDelta(t, heatW(at[0], at[1]), got, 1e-6)
	}
	_, ok = lab.HeatW(-8, 40)
	assert.False(t, ok)
}

// TestLaboratoryMeetsItsPoints and runs without jumps between them.
func TestLaboratoryMeetsItsPoints(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	points := flatShare(func(float64, float64) float64 { return 0.3 + 0.2*random.Float64() })
	lab := efficiency.NewLaboratory(append(points, points[0])) // one is given twice
	for _, p := range points {
		cop, ok := lab.COP(p.OutdoorC, p.FlowC)
		assert.True(t, ok)
		assert.InDelta(t, p.COP, cop, 1e-9)
	}
	before, _ := lab.Share(-6.9, 35.2)
	for step := range 2000 {
		x := float64(step) / 2000
		share, ok := lab.Share(-6.9+13.8*x, 35.2+19.6*x)
		assert.True(t, ok)
		assert.InDelta(t, before, share, 0.001, "0.2 of share over at least 5 K, in steps of 0.01 K")
		before = share
	}
}

func TestLaboratoryKnowsNothingOutside(t *testing.T) {
	lab := efficiency.NewLaboratory(flatShare(func(float64, float64) float64 { return 0.4 }))
	for _, at := range [][2]float64{{-7.01, 40}, {7.01, 40}, {0, 34.99}, {0, 55.01}, {math.NaN(), 40}, {0, math.NaN()}} {
		_, ok := lab.COP(at[0], at[1])
		assert.False(t, ok, "A%g/W%g", at[0], at[1])
	}
	row := efficiency.NewLaboratory(flatShare(func(float64, float64) float64 { return 0.4 })[:3])
	_, ok := row.COP(2, 35)
	assert.False(t, ok, "points at one flow temperature hold no area")
	_, ok = efficiency.NewLaboratory([]efficiency.Point{{OutdoorC: 35, FlowC: 35, COP: 3}}).COP(35, 35)
	assert.False(t, ok)
}

// TestCertifiedMachinesArePlausible: EN 14825 part load points of certified air
// machines (Heat Pump Keymark as collected in FZJ-IEK3-VSA/hplib, CC BY 4.0), at
// the flow temperatures of its variable-outlet curves.
func TestCertifiedMachinesArePlausible(t *testing.T) {
	rows := readTable(t, "/work/shared/data/keymark_points/database_reduced.csv")
	for _, at := range []struct {
		column          string
		outdoorC, flowC float64
	}{
		{"cop_minus7_l", -7, 34}, {"cop_2_l", 2, 30}, {"cop_7_l", 7, 27}, {"cop_12_l", 12, 24},
		{"cop_minus7_h", -7, 52}, {"cop_2_h", 2, 42}, {"cop_7_h", 7, 36}, {"cop_12_h", 12, 30},
	} {
		n, odd := 0, 0
		for _, row := range rows {
			if row["types"] != "Outdoor Air/Water" || row[at.column] == "" {
				continue
			}
			n++
			share := efficiency.ShareOfCarnot(checktable.Number(t, row[at.column]), at.outdoorC, at.flowC)
			if efficiency.Judge(share, 1/efficiency.CarnotCOP(at.outdoorC, at.flowC)) != efficiency.Plausible {
				odd++
			}
		}
		t.Logf("A%g/W%g: %d of %d machines are not plausible", at.outdoorC, at.flowC, odd, n)
		assert.Less(t, float64(odd)/float64(n), 0.001, at.column)
	}
}

func TestJudge(t *testing.T) {
	assert.Equal(t, efficiency.TooHigh, efficiency.Judge(0.61, 0.1))
	assert.Equal(t, efficiency.Plausible, efficiency.Judge(0.6, 0.1))
	assert.Equal(t, efficiency.Plausible, efficiency.Judge(0.25, 0.1))
	assert.Equal(t, efficiency.TooLow, efficiency.Judge(0.24, 0.1))
	assert.Equal(t, efficiency.Plausible, efficiency.Judge(0.24, 0.04), "at a small lift shares are low")
}

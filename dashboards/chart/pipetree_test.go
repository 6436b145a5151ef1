package chart

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pipeTree is the invented pipework of a house with two floors.
func pipeTree(size Size) PipeTree {
	loss := 18.4
	return PipeTree{ID: "pipes", Title: "Pipework", IndexLossKPa: &loss, Size: size, Legs: []PipeLeg{
		{"Primaries", -1, "28 mm copper", 14, 0.72, 210, true, false},
		{"Ground floor", 0, "22 mm copper", 6, 0.61, 205, false, false},
		{"Living room", 1, "15 mm copper", 7.5, 0.42, 160, false, false},
		{"Kitchen", 1, "15 mm copper", 4, 0.3, 90, false, false},
		{"First floor", 0, "22 mm copper", 9, 0.95, 460, true, true},
		{"Bathroom", 4, "10 mm copper", 5, 1.12, 980, false, true},
		{"Bedroom over the old smithy with the very long name", 4, "15 mm copper", 12, 0.45, 180, true, false},
		{"Study", 4, "15 mm copper", math.NaN(), math.NaN(), math.NaN(), false, false},
	}}
}

func TestTheIndexCircuitIsOneThickLine(t *testing.T) {
	tree := pipeTree(Size{960, 0})
	l, r := tree.layout(), draw(tree)
	var thickLines [][]Point
	for _, line := range r.lines {
		if line.pen.Role == Flow && line.pen.Width == 4 && line.points[0].Y > l.top {
			thickLines = append(thickLines, line.points)
		}
	}
	require.Len(t, thickLines, 3)
	for i := 1; i < len(thickLines); i++ {
		end := thickLines[i-1][2]
		assert.Equal(t, end, thickLines[i][0], "each begins where the one before ends")
	}
	assert.Contains(t, r.said(), "Index circuit, 18.4\u00a0kPa")
}

func TestFastLegsHaveChevronsAndWords(t *testing.T) {
	for _, width := range []float64{380, 960} {
		tree := pipeTree(Size{width, 0})
		r := draw(tree)
		count := 0
		for _, line := range r.lines {
			if line.pen.Role == Backup && len(line.points) == 3 {
				count++
			}
		}
		assert.Equal(t, 2*(2+1), count, "two chevrons for each leg and in the legend")
		assert.Contains(t, r.said(), "Too fast")
	}
	assert.Contains(t, draw(pipeTree(Size{380, 0})).said(), "too fast, 1.12\u00a0m/s, 980\u00a0Pa/m, 5.0\u00a0m, 10 mm copper")
}

func TestLegsHangOnWhatTheyLeaveFrom(t *testing.T) {
	tree := PipeTree{Legs: []PipeLeg{{Name: "a", Parent: -1}, {Name: "b", Parent: -1}, {Name: "c", Parent: 0}, {Name: "itself", Parent: 3}, {Name: "forward", Parent: 9}, {Name: "d", Parent: 2}}}
	rows, left := tree.branches()
	assert.Zero(t, left)
	var said []string
	for _, r := range rows {
		said = append(said, fmt.Sprintf("%s %d %d", r.Name, r.depth, r.parent))
	}
	assert.Equal(t, []string{"a 0 -1", "c 1 0", "d 2 1", "b 0 -1", "itself 0 -1", "forward 0 -1"}, said)
}

func TestOfManyLegsTheIndexCircuitStays(t *testing.T) {
	tree := PipeTree{Size: Size{960, 0}}
	for i := range 500 {
		tree.Legs = append(tree.Legs, PipeLeg{Name: fmt.Sprint("leg ", i), Parent: -1})
	}
	tree.Legs[400].OnIndex = true
	tree.Legs = append(tree.Legs, PipeLeg{Name: "last", Parent: 400, OnIndex: true})
	said := draw(tree).said()
	assert.Contains(t, said, "leg 400")
	assert.Contains(t, said, "last")
	assert.Contains(t, said, "and 411 more legs")
}

func BenchmarkPipeTree(b *testing.B) { benchmark(b, pipeTree(Size{960, 0})) }

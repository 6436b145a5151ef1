package chart

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPointsStandWhereTheScalesSay(t *testing.T) {
	p := newPlot(Size{500, 300}, nil, bounds{-10, 10}, bounds{0, 50}, false)
	assert.Equal(t, Point{p.frame.X, p.frame.Bottom()}, p.at(-10, 0))
	assert.Equal(t, Point{p.frame.Right(), p.frame.Y}, p.at(10, 50))
	assert.Equal(t, Point{p.frame.X + p.frame.W/2, p.frame.Y + p.frame.H/2}, p.at(0, 25))
}

func TestBoundsLeaveRoomForWhatIsAlike(t *testing.T) {
	assert.Equal(t, bounds{0, 5}, noBounds.scaled(5, 0.1))
	assert.Equal(t, bounds{17.5, 22.5}, noBounds.with(20, math.NaN(), 1e9).scaled(5, 0))
	assert.Equal(t, bounds{0, 1}, noBounds.fromZero(1, 0))
	assert.Equal(t, bounds{0, 11}, noBounds.with(4, 10).fromZero(1, 0.1))
	b := noBounds.with(-5, 5).fromZero(1, 0.1)
	assert.Equal(t, bounds{-6, 6}, b)
}

func TestALineIsDashedOnlyBeyondTheMeasured(t *testing.T) {
	p := newPlot(Size{500, 300}, nil, bounds{-10, 10}, bounds{-10, 10}, false)
	for name, line := range map[string][]XY{
		"few":  {{-10, -10}, {10, 10}},
		"many": {{-10, -10}, {-4, -4}, {0, 0}, {2, 2}, {6, 6}, {10, 10}},
	} {
		r := &recorder{}
		p.drawMeasured(r, Pen{Role: Ink, Width: 2}, line, bounds{-4, 6})
		require.Len(t, r.lines, 3, name)
		solid, before, after := r.lines[0], r.lines[1], r.lines[2]
		assert.Equal(t, []Dash{Solid, Dashed, Dashed}, []Dash{solid.pen.Dash, before.pen.Dash, after.pen.Dash}, name)
		assert.Equal(t, []Point{p.at(-4, -4), p.at(6, 6)}, solid.points, name)
		assert.Equal(t, []Point{p.at(-10, -10), p.at(-4, -4)}, before.points, name)
		assert.Equal(t, []Point{p.at(6, 6), p.at(10, 10)}, after.points, name)
	}
}

func TestALineBreaksWhereItIsNotKnownAndAtTheFrame(t *testing.T) {
	p := newPlot(Size{500, 300}, nil, bounds{0, 10}, bounds{0, 10}, false)
	lines := p.points([]XY{{0, 1}, {2, 1}, {3, math.NaN()}, {4, 1}, {9, 1}, {9.5, 21}})
	require.Len(t, lines, 2)
	assert.Equal(t, []Point{p.at(0, 1), p.at(2, 1)}, lines[0])
	last := lines[1][len(lines[1])-1]
	assert.InDelta(t, p.frame.Y, last.Y, 0.6)
	assert.InDelta(t, p.x(9+0.5*9/20), last.X, 0.6)
}

func TestHeightOfALine(t *testing.T) {
	line := []XY{{-10, 8}, {0, 5}, {10, math.NaN()}}
	for _, x := range []float64{-10, -5, 0} {
		y, known := heightAt(line, x)
		assert.True(t, known)
		assert.InDelta(t, 5-0.3*x, y, 1e-9)
	}
	for _, x := range []float64{-11, 4, 10, 11} {
		_, known := heightAt(line, x)
		assert.False(t, known, x)
	}
}

func TestACloudKeepsAPointOfEveryPlaceAndEveryOutlier(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	points := []Point{{-400, 900}, {2000, -50}}
	for range 10_000 {
		points = append(points, Point{400 + 90*r.NormFloat64(), 200 + 50*r.NormFloat64()})
	}
	kept := cloud(points, 800)
	assert.LessOrEqual(t, len(kept), 800)
	assert.Subset(t, kept, points[:2])
	for _, p := range points {
		nearest := math.Inf(1)
		for _, k := range kept {
			nearest = min(nearest, math.Hypot(k.X-p.X, k.Y-p.Y))
		}
		require.Less(t, nearest, 25.0)
	}
	assert.Equal(t, points[:50], cloud(points[:50], 800), "few points stay as they are")
}

package chart

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCurvesRunThroughTheFrameEvenWithoutAPointInside(t *testing.T) {
	s := CurveScatter{Hours: []CurveHour{{-2, 41}, {6, 38}}, Set: straight(-30, 60, 40, -0.6), Size: Size{700, 0}}
	p, r := s.plot(), draw(s)
	var set []Point
	for _, l := range r.lines {
		if l.pen.Role == Target && l.points[0].Y > p.frame.Y-1 {
			set = l.points
		}
	}
	require.Len(t, set, 2)
	assert.InDelta(t, p.frame.X, set[0].X, 1e-6)
	assert.InDelta(t, p.frame.Right(), set[1].X, 1e-6)
	assert.InDelta(t, p.scale.y(60-0.6*(p.low+30)), set[0].Y, 1e-6)
}

func TestCurvesAreComparedOnADesignDay(t *testing.T) {
	s := makers["curve"]("curve", Size{960, 0}).(CurveScatter)
	said := draw(s).said()
	for _, want := range []string{"At −12\u00a0°C outdoors: set 51.6\u00a0°C", "followed 49.4\u00a0°C", "lowest 45.0\u00a0°C", "Lowest that holds the rooms"} {
		assert.Contains(t, said, want)
	}
	s.Lowest, s.Fitted = nil, nil
	s.Need = 1000
	said = draw(s).said()
	assert.Contains(t, said, "Not enough hours of heating yet: 720\u00a0of\u00a01000")
	assert.NotContains(t, said, "Lowest that holds the rooms")
}

func TestTheLinesDifferInMoreThanColour(t *testing.T) {
	s := makers["curve"]("curve", Size{960, 0}).(CurveScatter)
	looks := map[Pen]bool{}
	for _, c := range s.curves() {
		look := Pen{Width: c.pen.Width, Dash: c.pen.Dash}
		assert.False(t, looks[look], c.name)
		looks[look] = true
	}
}

func BenchmarkCurveScatter(b *testing.B) { benchmark(b, makers["curve"]("curve", Size{960, 0})) }

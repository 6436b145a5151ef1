package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func heatChart(size Size) HeatByOutdoor { return makers["heat"]("heat", size).(HeatByOutdoor) }

func TestHeatStandsAtItsOutdoorTemperature(t *testing.T) {
	h := HeatByOutdoor{Size: Size{700, 0}, Days: []HeatDay{{OutdoorC: -5, HeatKW: 6}, {OutdoorC: 10, HeatKW: 2}, {OutdoorC: 0, HeatKW: 1, Doubtful: true}}}
	p, r := h.plot(), draw(h)
	assert.Equal(t, [][]Point{{p.at(-5, 6)}, {p.at(10, 2)}}, r.of(Heat))
	crosses := 0
	for _, l := range r.lines {
		if l.pen.Role == Muted && len(l.points) == 2 && l.points[0].X+l.points[1].X == 2*p.x(0) {
			crosses++
		}
	}
	assert.Equal(t, 2, crosses, "the two strokes of the doubtful day's cross")
	assert.InDelta(t, p.frame.Bottom(), p.scale.y(0), 1e-9, "heat is drawn from zero")
}

func TestTheFitIsDashedToTheDesignDay(t *testing.T) {
	h := heatChart(Size{960, 0})
	p, r := h.plot(), draw(h)
	used, _, _ := h.split()
	coldest := p.x(h.measured(used).low)
	var solid, dashed []Point
	for _, l := range r.lines {
		if l.pen.Role == Ink && l.pen.Width == 2 && l.points[0].Y > p.frame.Y {
			if l.pen.Dash == Dashed {
				dashed = append(dashed, l.points...)
			} else {
				solid = append(solid, l.points...)
			}
		}
	}
	require.NotEmpty(t, solid)
	require.NotEmpty(t, dashed)
	assert.InDelta(t, coldest, solid[0].X, 1e-9)
	assert.InDelta(t, p.x(-12), dashed[0].X, 1e-9)
	assert.InDelta(t, coldest, dashed[1].X, 1e-9)
	assert.Contains(t, r.said(), "At −12\u00a0°C: design 8.9\u00a0kW")
	assert.Contains(t, r.said(), "fit, after gains, 8.4\u00a0kW (7.6 to 9.2)")
	assert.Contains(t, r.said(), "loss without gains 9.3\u00a0kW (8.7 to 9.9)")
}

func TestTooFewDaysAreCounted(t *testing.T) {
	for _, c := range []struct {
		days, need int
		want       string
	}{{3, 7, "Not enough days yet: 3\u00a0of\u00a07"}, {0, 7, "Not enough days yet: 0\u00a0of\u00a07"}, {0, 0, "No days yet"}} {
		assert.Contains(t, draw(HeatByOutdoor{Days: winterDays(c.days), Need: c.need, Size: Size{700, 300}}).said(), c.want)
	}
}

func TestDaysWithoutValuesAreCountedInWords(t *testing.T) {
	h := HeatByOutdoor{Days: append(winterDays(20), HeatDay{OutdoorC: math.NaN()}, HeatDay{HeatKW: 1e9}), Size: Size{700, 300}}
	assert.Contains(t, parseSVG(t, h.SVG())[2].text, "2 days could not be drawn")
}

func TestADoubtfulDaySaysWhy(t *testing.T) {
	h := HeatByOutdoor{Days: winterDays(30), Size: Size{700, 300}}
	assert.Contains(t, draw(h).hints, "Sun 5 Oct 2025: 4.1\u00a0kW at −7.8\u00a0°C, doubtful: set back")
}

func BenchmarkHeatByOutdoor(b *testing.B) { benchmark(b, heatChart(Size{960, 0})) }

func benchmark(b *testing.B, d drawing) {
	size := 0
	for b.Loop() {
		size = len(d.SVG())
	}
	b.ReportMetric(float64(size), "bytes")
}

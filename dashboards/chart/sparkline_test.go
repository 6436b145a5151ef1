package chart

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func sparkOf(t *testing.T, d DayTrace, i int) Sparkline {
	t.Helper()
	return Sparkline{ID: "s", Title: "Flow", FromMS: d.FromMS, ToMS: d.ToMS, Series: d.Series[i], Size: Size{120, 28}}
}

func TestASparklineIsOneLineWithItsExtremes(t *testing.T) {
	d := plantTrace(februaryDay(t), 24*hour, minute, Size{})
	d.Series[0].Value[700] = 90
	r := draw(sparkOf(t, d, 0))
	require.Len(t, r.lines, 1)
	assert.Empty(t, r.texts)
	top, bottom := math.Inf(1), math.Inf(-1)
	for _, p := range r.lines[0].points {
		top, bottom = min(top, p.Y), max(bottom, p.Y)
		require.True(t, p.X >= 0 && p.X <= 120)
	}
	assert.InDelta(t, sparkMargin, top, 1.5, "the spike reaches the top")
	assert.InDelta(t, 28-sparkMargin, bottom, 1.5)
	assert.Less(t, len(sparkOf(t, d, 0).SVG()), 3000)
}

func TestASparklineShowsItsGapsAndSilence(t *testing.T) {
	from := februaryDay(t)
	d := plantTrace(from, 24*hour, minute, Size{}).without(from.Add(20*hour), from.Add(24*hour))
	r := draw(sparkOf(t, d, 0))
	assert.Len(t, r.rings, 1)
	hatched := 0.0
	for _, f := range r.rects {
		if f.role == Missing {
			hatched += f.box.W
		}
	}
	assert.InDelta(t, 114*4/24.0, hatched, 1)
}

func TestASparklineDescribesItself(t *testing.T) {
	d := DayTrace{FromMS: 0, ToMS: 1000}
	d.Series = []Series{{Name: "Electricity", Role: Power, UnixMS: []int64{0, 500, 1000}, Value: []float64{0, 2500, 1210}}, {Name: "Room", Role: Room}}
	assert.Equal(t, "Electricity 0.00 to 2.50\u00a0kW; last 1.21\u00a0kW.", parseSVG(t, sparkOf(t, d, 0).SVG())[2].text)
	assert.Equal(t, "Room no data.", parseSVG(t, sparkOf(t, d, 1).SVG())[2].text)
}

func BenchmarkSparkline(b *testing.B) {
	d := plantTrace(februaryDay(b), 24*hour, time.Minute, Size{})
	s := Sparkline{ID: "s", FromMS: d.FromMS, ToMS: d.ToMS, Series: d.Series[0], Size: Size{120, 28}}
	for b.Loop() {
		s.SVG()
	}
}

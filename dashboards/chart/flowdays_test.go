package chart

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// flowDays are invented: a strainer that clogs from the fortieth day on, and
// a week without link.
func flowDays(count int) []FlowDay {
	var days []FlowDay
	for i := range count {
		if i >= 20 && i < 27 {
			continue
		}
		median := 1180 + 20*math.Sin(float64(i)*1.7) - 9*math.Max(0, float64(i%100-40))
		days = append(days, FlowDay{time.Date(2026, 1, 5+i, 0, 0, 0, 0, time.UTC), median, median - 60, median + 35})
	}
	return days
}

func flowChart(size Size) FlowDays {
	return FlowDays{ID: "flow", Title: "Flow", Days: flowDays(70), Size: size,
		Limits:   []FlowLimit{{"Minimum", 900}, {"Commissioned", 1180}, {"Design", 1150}},
		Findings: []FlowFinding{{time.Date(2026, 2, 20, 9, 0, 0, 0, time.UTC), "Flow falls by 5 % a week"}, {time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC), "Below the minimum"}, {time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), "not shown"}}}
}

func TestFlowStandsOnItsDay(t *testing.T) {
	f := FlowDays{Days: []FlowDay{{time.Date(2026, 1, 1, 23, 0, 0, 0, time.UTC), 1000, 900, 1100}, {time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC), 1200, 1100, 1250}}, Size: Size{700, 300}}
	p, clk := f.layout()
	r := draw(f)
	lines := r.of(Rate)[1:] // after the legend's
	want := []Point{{p.frame.X + p.frame.W/4, p.scale.y(1000)}, {p.frame.X + 3*p.frame.W/4, p.scale.y(1200)}}
	require.NotEmpty(t, lines)
	for i := range want {
		assert.InDelta(t, want[i].X, lines[0][i].X, 1e-6)
		assert.InDelta(t, want[i].Y, lines[0][i].Y, 1e-6)
	}
	assert.InDelta(t, clk.right-clk.left, p.frame.W, 1e-9)
	require.Len(t, r.areas, 2, "the legend's and one")
	low, high := math.Inf(-1), math.Inf(1)
	for _, at := range r.areas[1].points {
		low, high = max(low, at.Y), min(high, at.Y)
	}
	assert.InDelta(t, p.scale.y(900), low, 1)
	assert.InDelta(t, p.scale.y(1250), high, 1)
}

func TestDaysWithoutFlowAreSaidAndNotCrossed(t *testing.T) {
	f := flowChart(Size{960, 0})
	p, clk := f.layout()
	r := draw(f)
	from, to := clk.x(noonMS(time.Date(2026, 1, 24, 0, 0, 0, 0, time.UTC))), clk.x(noonMS(time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)))
	for _, line := range r.of(Rate) {
		for i := 1; i < len(line); i++ {
			assert.False(t, line[i-1].X <= from+1 && line[i].X >= to-1 && line[i].X < p.frame.Right())
		}
	}
	assert.Len(t, r.areas, 3, "the legend's and two")
	assert.Contains(t, r.said(), "No data")
	assert.Contains(t, parseSVG(t, f.SVG())[2].text, "7 days without data")
}

func TestFindingsAreNumberedAndTold(t *testing.T) {
	f := flowChart(Size{960, 0})
	said := draw(f).said()
	for _, want := range []string{"1", "2", "20 Feb: Flow falls by 5 % a week", "14 Mar: Below the minimum", "Minimum\u00a0900\u00a0l/h"} {
		assert.Contains(t, said, want)
	}
	assert.NotContains(t, said, "3")
	plain := f
	plain.Findings = nil
	assert.InDelta(t, 2*listHeight, f.Extent().Height-plain.Extent().Height, 1e-9)
	for i := range 30 {
		f.Findings = append(f.Findings, FlowFinding{f.Days[i].Date, "Again"})
	}
	assert.Contains(t, draw(f).said(), "and 23 more")
}

func TestADateThatIsNoneDoesNotStretchTheWeeks(t *testing.T) {
	f := flowChart(Size{960, 0})
	f.Days = append(f.Days, FlowDay{Date: time.Time{}, MedianLPH: 1000})
	w := f.window()
	assert.InDelta(t, mostDays*dayMS, w.toMS-w.fromMS, 1)
	assert.Less(t, len(f.SVG()), 60_000)
}

func BenchmarkFlowDays(b *testing.B) { benchmark(b, flowChart(Size{960, 0})) }

package chart

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spfYear is an invented year with a month in part and a month without data.
func spfYear(count int) []SPFMonth {
	var months []SPFMonth
	for i := range count {
		overall := 3.6 - 0.5*math.Cos(float64(i-3)/6*math.Pi)
		m := SPFMonth{time.Date(2025, time.Month(9+i), 1, 0, 0, 0, 0, time.UTC), overall, overall - 0.25, overall + 0.25, overall + 0.3, 2.7, 1}
		if i == 2 {
			m.Coverage = 0.6
		}
		if i == 5 {
			m = SPFMonth{Month: m.Month, Overall: math.NaN(), Low: math.NaN(), High: math.NaN(), Space: math.NaN(), HotWater: math.NaN()}
		}
		if i == 9 || i == 10 {
			m.Space, m.Overall, m.Low, m.High = math.NaN(), 2.7, 2.4, 3.0
		}
		months = append(months, m)
	}
	return months
}

func spfChart(size Size) MonthlySPF {
	return MonthlySPF{ID: "spf", Title: "SPF", Boundary: "heat pump and backup heater", Months: spfYear(12), Size: size}
}

func TestEachMonthHasItsBarsAndWhisker(t *testing.T) {
	m := MonthlySPF{Months: spfYear(2), Size: Size{700, 300}}
	p, r := m.plot(), draw(m)
	perUnit := p.scale.y(0) - p.scale.y(1)
	for _, month := range m.Months {
		for role, v := range map[Role]float64{Heat: month.Space, Cylinder: month.HotWater} {
			found := false
			for _, f := range r.rects {
				found = found || f.role == role && math.Abs(f.box.H-v*perUnit) < 1e-6 && math.Abs(f.box.Bottom()-p.scale.y(0)) < 1e-6
			}
			assert.True(t, found, "%s %v", role, v)
		}
		found := false
		for _, line := range r.of(Ink) {
			found = found || len(line) == 2 && math.Abs(line[0].Y-p.scale.y(month.Low)) < 1e-6 && math.Abs(line[1].Y-p.scale.y(month.High)) < 1e-6
		}
		assert.True(t, found, "whisker from %v to %v", month.Low, month.High)
	}
}

func TestMonthsInPartAndWithoutDataSaySo(t *testing.T) {
	r := draw(spfChart(Size{960, 0}))
	said := r.said()
	assert.Contains(t, said, "less than 90\u00a0% measured")
	assert.Contains(t, said, "No data")
	require.Len(t, r.hints, 12)
	assert.Equal(t, "February 2026: no data", r.hints[5])
	assert.Equal(t, "November 2025: SPF 3.17 (2.92 to 3.42), space heating 3.47, hot water 2.70, 60\u00a0% measured", r.hints[2])
	assert.Contains(t, draw(MonthlySPF{Size: Size{380, 0}}).said(), "No months yet")
}

func BenchmarkMonthlySPF(b *testing.B) { benchmark(b, spfChart(Size{960, 0})) }

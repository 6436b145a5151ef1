package chart

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fortnight is fourteen invented days, two of them measured in part and one
// not at all.
func fortnight() []Day {
	var days []Day
	for i := range 14 {
		d := Day{Date: time.Date(2026, 1, 26+i, 0, 0, 0, 0, time.UTC), SpaceKWh: 60 + 4*float64(i%5), HotWaterKWh: 8, ElectricityKWh: 20, Coverage: 1}
		if i == 4 || i == 13 {
			d.Coverage = 0.62
		}
		if i == 7 {
			d.SpaceKWh, d.HotWaterKWh, d.ElectricityKWh, d.Coverage = math.NaN(), math.NaN(), math.NaN(), 0
		}
		days = append(days, d)
	}
	return days
}

func TestBarsStandForTheirDays(t *testing.T) {
	d := DayBars{ID: "bars", Title: "Two weeks", Days: fortnight(), Size: Size{960, 300}}
	l, r := d.layout(), draw(d)
	perKWh := l.scale.y(0) - l.scale.y(1)
	var space, water, electricity []Box
	for _, f := range r.rects {
		if f.box.Bottom() <= l.frame.Y { // the legend
			continue
		}
		switch f.role {
		case Heat:
			space = append(space, f.box)
		case Cylinder:
			water = append(water, f.box)
		case Power:
			electricity = append(electricity, f.box)
		}
	}
	require.Len(t, space, 14)
	require.Len(t, water, 14)
	require.Len(t, electricity, 14)
	for i, day := range d.Days {
		assert.InDelta(t, known(day.SpaceKWh)*perKWh, space[i].H, 1e-6)
		assert.InDelta(t, known(day.HotWaterKWh)*perKWh, water[i].H, 1e-6)
		assert.InDelta(t, known(day.ElectricityKWh)*perKWh, electricity[i].H, 1e-6)
		assert.InDelta(t, space[i].Y, water[i].Bottom(), 1e-6, "hot water lies on space heating")
		assert.GreaterOrEqual(t, electricity[i].X, space[i].Right(), "electricity stands beside")
	}
	said := r.said()
	for _, want := range []string{"Mon 26", "Sun 8", "January 2026", "February 2026", "68", "20", "less than 90\u00a0% measured", "No data", "Space heating"} {
		assert.Contains(t, said, want)
	}
	require.Len(t, r.hints, 14)
	assert.Equal(t, "Fri 30 Jan 2026: space heating 76.0\u00a0kWh, hot water 8.0\u00a0kWh, electricity 20.0\u00a0kWh, 62\u00a0% measured", r.hints[4])
	assert.Equal(t, "Mon 2 Feb 2026: no data", r.hints[7])
}

func TestOnlyDoubtfulDaysAreStruckOut(t *testing.T) {
	struck := func(days []Day) int {
		count := 0
		for _, l := range draw(DayBars{Days: days, Size: Size{960, 300}}).lines {
			if l.pen.Role == Paper {
				count++
			}
		}
		return count
	}
	assert.Positive(t, struck(fortnight()))
	assert.Zero(t, struck(fortnight()[8:13]))
	unknown := fortnight()[8:9]
	unknown[0].Coverage = math.NaN()
	assert.Positive(t, struck(unknown), "coverage that is not known is no coverage")
}

func TestNegativeHeatLiesBelowZero(t *testing.T) {
	d := DayBars{Days: []Day{{SpaceKWh: -3, HotWaterKWh: 5, ElectricityKWh: 2, Coverage: 1}}, Size: Size{400, 200}}
	l := d.layout()
	b := l.bars(0, d.Days[0])
	assert.InDelta(t, l.scale.y(0), b.space.Y, 1e-9)
	assert.InDelta(t, l.scale.y(-3), b.space.Bottom(), 1e-9)
	assert.InDelta(t, l.scale.y(0), b.water.Bottom(), 1e-9)
	assert.InDelta(t, l.scale.y(5), b.water.Y, 1e-9)
}

func TestBarsTextsNeitherCollideNorLeaveThePicture(t *testing.T) {
	for _, width := range []float64{300, 380, 700, 960, 1200} {
		for _, count := range []int{1, 7, 14, 31, 60} {
			days := make([]Day, count)
			for i := range days {
				days[i] = fortnight()[i%14]
				days[i].Date = time.Date(2026, 1, 20+i, 0, 0, 0, 0, time.UTC)
				days[i].SpaceKWh *= 1.7
			}
			name := fmt.Sprint(width, " ", count)
			d := DayBars{Days: days, Size: Size{width, 260}}
			checkTexts(t, name, draw(d).texts, d.Extent())
		}
	}
}

func TestBarsDescribeTheirSums(t *testing.T) {
	description := parseSVG(t, DayBars{Days: fortnight(), Size: Size{960, 300}}.SVG())[2].text
	assert.Equal(t, "14 days from Mon 26 Jan 2026 to Sun 8 Feb 2026: space heating 876.0\u00a0kWh, hot water 104.0\u00a0kWh, electricity 260.0\u00a0kWh; "+
		"2 days with less than 90\u00a0% measured, 1 without data.", description)
	assert.Contains(t, draw(DayBars{Size: Size{400, 200}}).said(), "No days yet")
}

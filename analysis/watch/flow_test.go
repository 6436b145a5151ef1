package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/cycling"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// flowing is settled heating with a flow rate and an output of 5 kW for 1.5 kW.
func flowing(lph float64) func(*watch.Slot) {
	return func(s *watch.Slot) {
		s.SecondsS[operation.Heating] = slotS
		s.Settled = watch.Settled{S: slotS, FlowRate: mean(lph), Difference: mean(5000 / 1.16 / lph),
			Took: siteday.Stretch{S: slotS, HeatJ: 5000 * slotS, ElectricityJ: 1500 * slotS}}
	}
}

func record() watch.Limits {
	return watch.Limits{Plant: cycling.Plant{MinimumFlowLPH: new(400.0), CommissionedLPH: new(1000.0), DesignHeatLossW: new(8000.0)}}
}

// TestLowFlow holds flows against a maker's minimum of 400 l/h and 1,000 l/h
// commissioned.
func TestLowFlow(t *testing.T) {
	for _, row := range []struct {
		name     string
		lph      float64
		minutes  float64
		severity watch.Severity // none is expected when empty
	}{
		{"as commissioned", 1000, 120, ""},
		{"three quarters", 750, 120, ""},
		{"below 70 % at high output", 650, 25, watch.Attention},
		{"not yet long enough", 650, 15, ""},
		{"below the minimum, hardly", 380, 25, watch.Attention},
		{"far below the minimum", 300, 10, watch.Urgent},
		{"not yet long enough for that", 300, 5, ""},
	} {
		m := makeCase(record()).next(6, flowing(1000)).next(row.minutes/60, flowing(row.lph))
		found := m.found("low_flow")
		if row.severity == "" {
			assert.Empty(t, found, row.name)
			continue
		}
		if assert.Len(t, found, 1, row.name) {
			assert.Equal(t, row.severity, found[0].Severity, row.name)
			assert.Equal(t, after(6), found[0].Since, row.name)
			assert.Contains(t, found[0].Caution, "pressure")
			assert.InDelta(t, row.lph, found[0].Evidence[0].Value, 1e-9, row.name)
		}
	}
}

func TestLowFlowEndsAfterAnHourOfGoodFlow(t *testing.T) {
	m := makeCase(record()).next(1, flowing(300)).next(0.9, flowing(1000))
	require.Len(t, m.found("low_flow"), 1)
	assert.False(t, m.found("low_flow")[0].Until.After(begin))
	m.next(10).next(0.5, flowing(1000)) // ten hours of which nothing is known change nothing
	assert.Equal(t, after(1), m.found("low_flow")[0].Until)
}

// TestALowReadingOfFlowThatCannotBe: heat of less than the electricity is no heat
// pump's.
func TestALowReadingOfFlowThatCannotBe(t *testing.T) {
	l := record()
	m := makeCase(l).next(6, flowing(20), func(s *watch.Slot) { s.Settled.Took.HeatJ = 100 * slotS })
	assert.Empty(t, m.found("low_flow"))
}

func TestWithoutARecordThereIsNoLowFlow(t *testing.T) {
	assert.Empty(t, makeCase(watch.Limits{}).next(6, flowing(20)).found("low_flow"))
}

// days of settled heating at one flow and output before the slots.
func (m *made) days(flowsLPH ...float64) *made {
	for i, lph := range flowsLPH {
		from := begin.AddDate(0, 0, i-len(flowsLPH))
		const heatingS = 10 * 3600
		d := siteday.Day{Date: from.Format(time.DateOnly), From: from, To: from.AddDate(0, 0, 1)}
		d.Sums.Steady = map[int]siteday.SteadyBin{170: {S: heatingS, VolumeL: lph * heatingS / 3600}}
		d.Sums.Flow = siteday.NewHistogram(5)
		d.Sums.Flow.Add(lph, heatingS)
		m.Days = append(m.Days, d)
	}
	return m
}

// TestFlowStep: a third less flow from one moment on is one finding, and takes over
// from low flow.
func TestFlowStep(t *testing.T) {
	m := makeCase(record()).days(1000, 1000, 1000).next(8, flowing(1000)).next(0.25, flowing(660))
	found := m.found("flow_stepped")
	require.Len(t, found, 1)
	assert.Equal(t, after(8), found[0].Since)
	assert.InDelta(t, -34, found[0].Evidence[0].Value, 0.5)
	assert.InDelta(t, 660, found[0].Evidence[1].Value, 1)
	assert.InDelta(t, 1000, found[0].Evidence[2].Value, 2.5, "half a bin of the days' histogram")
	m.next(1, flowing(300))
	assert.Empty(t, m.found("low_flow"), "the step explains it")
	assert.Equal(t, watch.Urgent, m.found("flow_stepped")[0].Severity, "and is as severe")
	m.next(1.1, flowing(1000))
	assert.Equal(t, after(9.25), m.found("flow_stepped")[0].Until)
}

// TestFlowThatFallsOnIsNoStep: a strainer that blocks within hours of the first
// circulation has the cause of a slow fall, and is told as soon as a step.
func TestFlowThatFallsOnIsNoStep(t *testing.T) {
	m := makeCase(record()).days(1000, 1000, 1000).next(8, flowing(1000)).next(0.5, flowing(860))
	require.Len(t, m.found("flow_stepped"), 1)
	assert.Contains(t, m.found("flow_stepped")[0].Title, "The flow fell by 14 % at once")
	for lph := 850.0; lph > 600; lph -= 10 {
		m.next(0.5, flowing(lph))
	}
	found := m.found("flow_stepped")
	require.Len(t, found, 1)
	assert.Regexp(t, "^The flow falls fast: by 3[78] % so far, from 100[0-3] to 6[12][0-9] l/h$", found[0].Title)
	assert.Contains(t, found[0].Causes[0], "strainer")
}

func TestNoStep(t *testing.T) {
	assert.Empty(t, makeCase(record()).days(1000, 1000, 1000).next(8, flowing(1000)).next(8, flowing(930)).found("flow_stepped"), "7 %")
	assert.Empty(t, makeCase(record()).days(1000).next(0.1, flowing(660)).found("flow_stepped"), "a moment")
}

// TestFlowFalls: 2 % a day is told on the fourth day, 0.3 % a day is not in a week.
func TestFlowFalls(t *testing.T) {
	steady := []float64{1000, 1001, 999, 1000, 1002, 998}
	falling := append(steady, 990, 970, 950)
	assert.Empty(t, makeCase(record()).days(falling[:8]...).found("flow_falling"))
	found := makeCase(record()).days(falling...).found("flow_falling")
	require.Len(t, found, 1)
	assert.WithinDuration(t, begin.AddDate(0, 0, -3), found[0].Since, 24*time.Hour)
	assert.InDelta(t, -5, found[0].Evidence[1].Value, 0.3)
	assert.Empty(t, makeCase(record()).days(append(steady, 997, 994, 991, 988, 985, 982, 979)...).found("flow_falling"))
	cleaned := makeCase(record()).days(append(falling, 930, 1000)...).found("flow_falling")
	require.Len(t, cleaned, 1)
	assert.Equal(t, begin.AddDate(0, 0, -1), cleaned[0].Until, "the strainer was cleaned")
}

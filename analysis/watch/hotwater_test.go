package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// charge is a charging of the cylinder made by hand.
type charge struct {
	minutes, heatKW  float64
	flowC, cylinderC float64 // at its end
}

// charging adds the slots and the charging, and hours of rest after it.
func (m *made) charging(restHours float64, c charge) *made {
	from, to := m.at, m.at.Add(time.Duration(c.minutes*float64(time.Minute)))
	m.next(c.minutes/60, outdoor(3), func(s *watch.Slot) {
		s.SecondsS[operation.HotWater] = slotS
		s.Flow, s.Return = mean(c.flowC), mean(c.flowC-5)
		s.Took = siteday.Stretch{S: slotS, HeatJ: c.heatKW * 1000 * slotS, ElectricityJ: c.heatKW * 300 * slotS}
		if c.cylinderC > 0 {
			s.Cylinder = mean(c.cylinderC - 2 - max(0, to.Sub(s.To()).Minutes()/5-2))
		}
	})
	if len(m.Days) == 0 {
		m.Days = []siteday.Day{{From: begin, To: begin.AddDate(0, 0, 1)}}
	}
	s := &m.Days[0].Sums
	s.HotWater = append(s.HotWater, siteday.HotWater{From: from, To: m.at, HeatJ: c.heatKW * 1000 * c.minutes * 60, PeakFlowC: c.flowC})
	return m.next(restHours, outdoor(3), state(operation.Off), water(25, 25, 0), func(s *watch.Slot) {
		if c.cylinderC > 0 {
			s.Cylinder = mean(c.cylinderC)
		}
	})
}

var (
	good  = charge{minutes: 35, heatKW: 5, flowC: 56, cylinderC: 50}
	weak  = charge{minutes: 60, heatKW: 2.6, flowC: 56, cylinderC: 50}
	coil  = charge{minutes: 50, heatKW: 4, flowC: 66, cylinderC: 50}
	short = charge{minutes: 35, heatKW: 5, flowC: 52, cylinderC: 44}
)

func cylinder() watch.Limits {
	return watch.Limits{HotWaterTargetC: new(50.0), Sensors: sensor.Known{RatedHeatW: 8000}}
}

func (m *made) chargings(times int, c charge) *made {
	for range times {
		m.charging(7, c)
	}
	return m
}

func TestHotWaterSlowerThanItWas(t *testing.T) {
	m := makeCase(cylinder()).chargings(7, good)
	since := m.at
	m.chargings(3, weak)
	found := m.found("hot_water_slow")
	require.Len(t, found, 1)
	assert.Equal(t, since, found[0].Since)
	assert.Contains(t, found[0].Title, "60 minutes, at 2.6 kW")
	assert.Contains(t, found[0].Caution, "legionella")
	until := m.at.Add(-7 * time.Hour)
	m.chargings(2, good)
	assert.False(t, m.found("hot_water_slow")[0].Ended(), "a day without is to be seen first")
	m.chargings(3, good)
	require.Len(t, m.found("hot_water_slow"), 1)
	assert.Equal(t, until, m.found("hot_water_slow")[0].Until)
}

func TestHotWaterSlowByItsCoilFromTheFirstDay(t *testing.T) {
	m := makeCase(cylinder()).chargings(1, coil)
	assert.Empty(t, m.found("hot_water_slow"), "one charging is no proof")
	m.chargings(1, coil)
	found := m.found("hot_water_slow")
	require.Len(t, found, 1)
	assert.Contains(t, found[0].Title, "16 K warmer than the cylinder")
}

func TestHotWaterLongByTheRatedHeat(t *testing.T) {
	endless := charge{minutes: 90, heatKW: 2.5, flowC: 52}
	require.Len(t, makeCase(cylinder()).chargings(3, endless).found("hot_water_slow"), 1)
	unknown := watch.Limits{}
	assert.Empty(t, makeCase(unknown).chargings(3, endless).found("hot_water_slow"), "nothing to hold it against")
	endless.minutes = 130
	assert.Len(t, makeCase(unknown).chargings(3, endless).found("hot_water_slow"), 1)
}

func TestHotWaterShortOfItsTarget(t *testing.T) {
	m := makeCase(cylinder()).chargings(2, good)
	since := m.at
	m.chargings(2, short)
	found := m.found("hot_water_short")
	require.Len(t, found, 1)
	assert.Equal(t, since, found[0].Since)
	assert.Equal(t, "The hot water gets to 44 °C only, its target is 50 °C", found[0].Title)
	assert.Contains(t, found[0].Caution, "local rules")
	m.chargings(5, good)
	assert.True(t, m.found("hot_water_short")[0].Ended())
}

func TestHotWaterShortBecauseSlowIsOneFinding(t *testing.T) {
	poor := charge{minutes: 120, heatKW: 2, flowC: 66, cylinderC: 44}
	m := makeCase(cylinder()).chargings(3, poor)
	assert.Len(t, m.found("hot_water_slow"), 1)
	assert.Empty(t, m.found("hot_water_short"))
}

func TestHotWaterAsItShouldBe(t *testing.T) {
	hygiene := charge{minutes: 100, heatKW: 2.5, flowC: 64, cylinderC: 60}
	nearly := charge{minutes: 35, heatKW: 5, flowC: 56, cylinderC: 48.2}
	noSensor := charge{minutes: 35, heatKW: 5, flowC: 52}
	for name, m := range map[string]*made{
		"as usual":            makeCase(cylinder()).chargings(9, good),
		"runs for hygiene":    makeCase(cylinder()).chargings(7, good).chargings(2, hygiene),
		"just below":          makeCase(cylinder()).chargings(9, nearly),
		"no cylinder sensor":  makeCase(cylinder()).chargings(9, noSensor),
		"no target is known":  makeCase(watch.Limits{}).chargings(9, short),
		"once interrupted":    makeCase(cylinder()).chargings(3, good).chargings(1, short).chargings(3, good),
		"no hot water at all": makeCase(cylinder()).next(90, outdoor(3), heating(35, 35)),
	} {
		assert.Empty(t, m.found("hot_water_slow"), name)
		assert.Empty(t, m.found("hot_water_short"), name)
	}
}

// stored makes days of a cylinder's highest temperatures; 0 is not known.
func stored(l watch.Limits, highsC ...float64) *made {
	m := makeCase(l)
	for k, highC := range highsC {
		from := begin.AddDate(0, 0, k)
		d := siteday.Day{From: from, To: from.AddDate(0, 0, 1), Sums: siteday.Sums{SpanS: 86_400}}
		if highC > 0 {
			d.Sums.CylinderHighC, d.Sums.Cylinder = &highC, siteday.Mean{ValueS: 45 * 86_400, S: 86_400}
		}
		m.Days, m.Now = append(m.Days, d), d.To
	}
	return m
}

func TestHygieneTemperatureNotReached(t *testing.T) {
	l := watch.Limits{HygieneC: new(60.0), HygieneDays: new(7.0)}
	m := stored(l, 50, 60.2, 50, 50, 52, 50, 50, 50, 50, 50)
	found := m.found("hot_water_hygiene")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, watch.Attention, f.Severity)
	assert.Equal(t, after(9*24), f.Since, "a week after the day it was reached")
	assert.Equal(t, "The cylinder has not reached 60 °C for 8 days, its highest was 52 °C", f.Title)
	assert.Contains(t, f.Caution, "local rules")
	assert.Contains(t, f.Caution, "scald")
	assert.NotContains(t, textOf(f), "lower the")

	m = stored(l, 50, 60.2, 50, 50, 52, 50, 50, 50, 50, 50, 61)
	require.Len(t, m.found("hot_water_hygiene"), 1)
	assert.Equal(t, after(10*24), m.found("hot_water_hygiene")[0].Until)
}

func TestHygieneTemperatureReachedOrNotKnown(t *testing.T) {
	l := watch.Limits{HygieneC: new(60.0), HygieneDays: new(7.0)}
	for name, m := range map[string]*made{
		"every week":            stored(l, 50, 60.2, 50, 50, 52, 50, 50, 50, 59.4, 50, 50, 50, 50, 50, 50, 60),
		"the first week":        stored(l, 50, 50, 50, 50, 50, 50, 50),
		"a day late":            stored(l, 60, 50, 50, 50, 50, 50, 50, 50, 61),
		"days are not known":    stored(l, 60, 50, 50, 0, 0, 50, 50, 50, 50, 50),
		"no cylinder sensor":    stored(l, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0),
		"the record names none": stored(watch.Limits{}, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50),
	} {
		assert.Empty(t, m.found("hot_water_hygiene"), name)
	}
}

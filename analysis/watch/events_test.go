package watch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// eventful is a case of days without slots.
func eventful(days int) *made {
	m := &made{Case: watch.Case{Now: begin.AddDate(0, 0, days)}}
	for i := range days {
		from := begin.AddDate(0, 0, i)
		m.Days = append(m.Days, siteday.Day{Date: from.Format(time.DateOnly), From: from, To: from.AddDate(0, 0, 1)})
	}
	return m
}

// run adds one whole heating run; defrosts come in it every so many minutes and
// last so many.
func (m *made) run(fromMin, toMin float64) *made {
	from, to := after(fromMin/60), after(toMin/60)
	s := &m.Days[int(from.Sub(begin).Hours()/24)].Sums
	lengthS := to.Sub(from).Seconds()
	s.Runs = append(s.Runs, siteday.Run{From: from, To: to, Started: true, Stopped: true, HeatingS: lengthS,
		Took: siteday.Stretch{S: lengthS, HeatJ: 5000 * lengthS, ElectricityJ: 1500 * lengthS}})
	return m
}

func (m *made) defrost(fromMin, minutes, outdoorC float64) *made {
	from := after(fromMin / 60)
	s := &m.Days[int(from.Sub(begin).Hours()/24)].Sums
	s.Defrosts = append(s.Defrosts, siteday.Defrost{From: from, To: from.Add(time.Duration(minutes * float64(time.Minute))), OutdoorC: &outdoorC})
	return m
}

func TestShortCycling(t *testing.T) {
	m := eventful(3).run(60, 380)
	for k := range 3 {
		m.run(400+20*float64(k), 408+20*float64(k))
	}
	assert.Empty(t, m.found("short_cycling"), "three short runs are none")
	m.run(460, 468)
	found := m.found("short_cycling")
	require.Len(t, found, 1)
	assert.Equal(t, after(400./60), found[0].Since)
	assert.InDelta(t, 8, found[0].Evidence[0].Value, 1e-9)
	assert.NotEmpty(t, found[0].Causes)
	assert.True(t, found[0].Ended(), "long over by now")

	rare := eventful(3)
	for k := range 8 {
		rare.run(400+240*float64(k), 408+240*float64(k))
	}
	assert.Empty(t, rare.found("short_cycling"), "a short run every four hours")
}

// TestNightsDoNotEndCycling: a plant that cycles by day and runs through by night
// has one finding.
func TestNightsDoNotEndCycling(t *testing.T) {
	m := eventful(4)
	for day := range 4 {
		m.run(float64(day)*1440, float64(day)*1440+480)
		for k := range 10 {
			m.run(float64(day)*1440+600+20*float64(k), float64(day)*1440+607+20*float64(k))
		}
	}
	found := m.found("short_cycling")
	require.Len(t, found, 1)
	assert.False(t, found[0].Ended())
}

// often adds hours of running with a defrost at each interval.
func (m *made) often(fromMin float64, count int, every, minutes, outdoorC float64) *made {
	m.run(fromMin, fromMin+float64(count)*every+every/2)
	for k := range count {
		m.defrost(fromMin+float64(k+1)*every-minutes, minutes, outdoorC)
	}
	return m
}

func TestDefrostsThatComeOften(t *testing.T) {
	m := eventful(2).often(0, 6, 80, 6, 0)
	assert.Empty(t, m.found("defrost_often"), "80 minutes are usual")
	often := eventful(2).often(0, 6, 80, 6, 0).often(700, 8, 25, 3, 0)
	require.Len(t, often.found("defrost_often"), 1)
	assert.InDelta(t, 22, often.found("defrost_often")[0].Evidence[0].Value, 1e-9, "running between them")
	assert.Contains(t, often.found("defrost_often")[0].Caution, "licensed")
	assert.Empty(t, often.found("defrost_not_clearing"), "short ones have little to melt")

	clogged := eventful(2).often(0, 6, 80, 6, 0).often(700, 8, 25, 6, 0)
	assert.Empty(t, clogged.found("defrost_often"))
	require.Len(t, clogged.found("defrost_not_clearing"), 1, "as long as the usual ones")
	unknown := eventful(2).often(700, 8, 25, 6, 0)
	assert.Len(t, unknown.found("defrost_often"), 1, "what is usual is not known")
}

func TestDefrostsInFrostyAir(t *testing.T) {
	passing := eventful(2).often(0, 6, 80, 6, 0).often(700, 5, 25, 6, 0).often(860, 3, 80, 6, 0)
	assert.Empty(t, passing.found("defrost_often"), "two hours of fog")
	assert.Empty(t, passing.found("defrost_not_clearing"))

	frosty := eventful(2).often(0, 6, 32, 6, 0).often(400, 6, 80, 6, 5).often(950, 8, 31, 6, 0)
	assert.Len(t, frosty.found("defrost_often"), 1)
	assert.Empty(t, frosty.found("defrost_not_clearing"), "in such air it always did so")
}

func TestDefrostsThatAreLong(t *testing.T) {
	m := eventful(2).often(0, 2, 80, 15, 0)
	assert.Empty(t, m.found("defrost_long"), "two")
	m.often(700, 1, 80, 15, 0)
	require.Len(t, m.found("defrost_long"), 1)
	assert.Empty(t, eventful(2).often(0, 8, 80, 12, 0).found("defrost_long"), "12 minutes are the limit")
}

func TestDefrostsInMildAir(t *testing.T) {
	assert.Empty(t, eventful(2).often(0, 8, 60, 4, 7.5).found("defrost_mild"))
	found := eventful(2).often(0, 8, 60, 4, 10).found("defrost_mild")
	require.Len(t, found, 1)
	assert.InDelta(t, 10, found[0].Evidence[1].Value, 1e-9)
}

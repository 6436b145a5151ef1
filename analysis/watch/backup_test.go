package watch_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// helped says for how many seconds of each slot a 3 kW heater ran.
func helped(seconds float64) func(*watch.Slot) {
	return func(s *watch.Slot) { s.BackupS, s.BackupJ = seconds, 3000*seconds }
}

func TestBackupInMildWeather(t *testing.T) {
	l := watch.Limits{DesignOutdoorC: new(-10.0)}
	m := makeCase(l).next(12, outdoor(3), heating(33, 33)).next(2.5, outdoor(4), heating(33, 33), helped(slotS))
	found := m.found("backup_running")
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, watch.Attention, f.Severity)
	assert.Equal(t, after(12), f.Since)
	assert.Equal(t, "The backup heater ran for 2.5 hours in mild weather, 4 °C outdoors", f.Title)
	assert.InDelta(t, 7.5, f.Evidence[1].Value, 1e-9, "kWh")
	assert.Contains(t, f.Caution, "licensed")

	m.next(13, outdoor(3), heating(33, 33))
	require.Len(t, m.found("backup_running"), 1)
	assert.Equal(t, after(14.5), m.found("backup_running")[0].Until)
}

func TestBackupWhereItIsMeant(t *testing.T) {
	l := watch.Limits{DesignOutdoorC: new(-10.0)}
	weekly := makeCase(l)
	for range 3 {
		weekly.next(1.5, outdoor(4), heating(33, 33), helped(slotS)).next(22.5, outdoor(4), heating(33, 33))
	}
	immersed := makeCase(l)
	for k := range 40 {
		immersed.next(1.0/12, outdoor(4), heating(33, 33), helped(slotS), func(s *watch.Slot) { s.Cylinder = mean(45 + 0.4*float64(k)) })
	}
	for name, m := range map[string]*made{
		"an immersion heater's try": immersed,
		"in the cold":               makeCase(l).next(40, outdoor(-6), heating(38, 38), helped(slotS)),
		"after defrosts":            makeCase(l).next(60, outdoor(1), heating(35, 35), func(s *watch.Slot) { s.BackupS = 60 * float64(s.From.Minute()/55) }),
		"the immersion heater":      weekly,
		"with the hot water":        makeCase(l).next(20, outdoor(8), state(operation.HotWater), helped(slotS)),
		"no backup channel":         makeCase(l).next(60, outdoor(4), heating(33, 33)),
		"outdoors is not known":     makeCase(l).next(20, heating(33, 33), helped(slotS)),
		"it was mild only for once": makeCase(l).next(1, outdoor(4), heating(33, 33), helped(slotS)).next(30),
	} {
		assert.Empty(t, m.found("backup_running"), name)
	}
}

func TestBackupForManyHours(t *testing.T) {
	m := makeCase(watch.Limits{DesignOutdoorC: new(-10.0)})
	for k := range 5 {
		from := begin.AddDate(0, 0, k)
		d := siteday.Day{From: from, To: from.AddDate(0, 0, 1)}
		d.Sums.SpanS, d.Sums.BackupKnownS, d.Sums.Outdoor = 86_400, 86_400, siteday.Mean{ValueS: -3 * 86_400, S: 86_400}
		d.Sums.SecondsS[operation.Heating], d.Sums.SecondsS[operation.Off] = 72_000, 14_400
		d.Sums.BackupS, d.Sums.BackupJ = 0.3*72_000, 0.3*72_000*3000
		m.Days = append(m.Days, d)
	}
	m.Now = begin.AddDate(0, 0, 5)
	found := m.found("backup_running")
	require.Len(t, found, 1)
	assert.Equal(t, "The backup heater helps in 30 % of the running hours, at -3 °C outdoors", found[0].Title)
	for i := range m.Days {
		m.Days[i].Sums.Outdoor.ValueS = -8 * 86_400
	}
	assert.Empty(t, m.found("backup_running"), "that near the design temperature it is meant to")
}

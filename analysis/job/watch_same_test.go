package job_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/rig"
)

// sameRows are troubles of a few days, some of which end.
var sameRows = []struct {
	month    time.Month
	plant    func(uint64) rig.Plant
	seed     uint64
	troubles []rig.Trouble // After counts from the first midnight
	finding  string
}{
	{time.January, rig.Random, 3, []rig.Trouble{{Kind: rig.LowFlow, After: 52 * time.Hour}}, "flow_stepped"},
	{time.January, rig.Random, 4, []rig.Trouble{{Kind: rig.SwappedSensors, After: 45 * time.Hour}, {Kind: rig.SwappedSensors, After: 60 * time.Hour}}, "pipes_swapped"},
	{time.April, lean, 3, []rig.Trouble{{Kind: rig.OnOffControl, After: 40 * time.Hour}}, "short_cycling"},
	{time.January, rig.Random, 6, []rig.Trouble{{Kind: rig.DefrostTooOften, After: 50 * time.Hour}}, "defrost_often"},
	{time.January, rig.Random, 8, []rig.Trouble{{Kind: rig.LowFlow, Size: 0.3}}, "low_flow"},
	{time.January, rig.Random, 10, []rig.Trouble{{Kind: rig.DefrostTooLong, After: 50 * time.Hour}}, "defrost_long"},
	{time.January, rig.Random, 5, []rig.Trouble{{Kind: rig.WrongPowerUnit, After: 50 * time.Hour}}, "sensor_wrong_unit/power"},
	{time.January, rig.Random, 7, []rig.Trouble{{Kind: rig.Silent, After: 50 * time.Hour, Size: 7}}, "silent"},
	{time.January, rig.Random, 11, []rig.Trouble{{Kind: rig.FrostDanger, After: 50 * time.Hour}}, "frost_danger"},
	{time.April, rig.Random, 12, []rig.Trouble{{Kind: rig.CurveNotFollowed, After: 50 * time.Hour}}, ""},
	{time.January, rig.Random, 13, []rig.Trouble{{Kind: rig.HotWaterShort, After: 50 * time.Hour}}, ""},
	{time.January, rig.Random, 14, []rig.Trouble{{Kind: rig.OutdoorStuck, After: 50 * time.Hour}}, "sensor_stuck/outdoor_temp"},
}

// TestLiveAndHistoryFindTheSame: four days looked at every ten minutes, at each
// midnight, and once in the end leave the same findings, with their beginnings and
// ends within two slots.
func TestLiveAndHistoryFindTheSame(t *testing.T) {
	rows := sameRows
	if os.Getenv("COLDWEEK_ALL") == "" {
		rows = rows[:3]
	}
	for _, row := range rows {
		p := row.plant(row.seed)
		p.Troubles = row.troubles
		p.Metering.Interval = max(p.Metering.Interval, 30*time.Second) // a look costs as much as there are readings
		t.Run(fmt.Sprintf("%s %s", p.ID, p.Troubles[0].Kind), func(t *testing.T) {
			t.Parallel()
			pl := play(t, p, time.Date(2026, row.month, 10, 0, 0, 0, 0, time.UTC), 4)
			from, to := pl.window.From, pl.window.To
			live := lasting(watchPlant(t, &pl, every(from.Add(10*time.Minute), to, 10*time.Minute)))
			nightly := lasting(watchPlant(t, &pl, every(from.AddDate(0, 0, 1), to, 24*time.Hour)))
			once := lasting(watchPlant(t, &pl, []time.Time{to}))
			for _, f := range live {
				t.Logf("%s %s from %s to %s: %s", f.Severity, f.Kind, f.Since.Format(time.DateTime), f.Until.Format(time.DateTime), f.Title)
			}
			assert.Equal(t, kinds(live), kinds(nightly), "at each midnight")
			seen := to.AddDate(0, 0, -3) // a look in the end sees slots of three days
			assert.Equal(t, kinds(since(live, seen)), kinds(since(once, seen)), "once in the end")
			if row.finding != "" {
				assert.Contains(t, kinds(live), row.finding)
			}
			if !t.Failed() {
				sameTimes(t, live, nightly)
				sameTimes(t, since(live, seen), since(once, seen))
			}
			history, err := job.History(t.Context(), newShelf(pl.columns), p.Record(), pl.window, nil)
			require.NoError(t, err)
			assert.Len(t, history, len(nightly), "history stores nothing and finds the same")
		})
	}
}

// lasting leaves out what was withdrawn, in order of kind and time.
func lasting(all []told) []watch.Finding {
	var kept []watch.Finding
	for _, f := range all {
		if !f.Withdrawn() {
			kept = append(kept, f.Finding)
		}
	}
	slices.SortFunc(kept, func(a, b watch.Finding) int {
		if a.Kind != b.Kind {
			return strings.Compare(a.Kind, b.Kind)
		}
		return a.Since.Compare(b.Since)
	})
	return kept
}

// since is what findings are from a time on: those that had not ended, begun then
// at the earliest.
func since(all []watch.Finding, at time.Time) []watch.Finding {
	kept := slices.DeleteFunc(slices.Clone(all), func(f watch.Finding) bool { return f.Ended() && !f.Until.After(at) })
	for i := range kept {
		if kept[i].Since.Before(at) {
			kept[i].Since = at
		}
	}
	return kept
}

func kinds(all []watch.Finding) []string {
	var names []string
	for _, f := range all {
		names = append(names, f.Kind)
	}
	return names
}

func sameTimes(t *testing.T, a, b []watch.Finding) {
	t.Helper()
	for i := range a {
		assert.Equal(t, a[i].Severity, b[i].Severity, a[i].Kind)
		assert.WithinDuration(t, a[i].Since, b[i].Since, 2*watch.SlotLength, "beginning of %s", a[i].Kind)
		assert.WithinDuration(t, a[i].Until, b[i].Until, 2*watch.SlotLength, "end of %s", a[i].Kind)
	}
}

package job_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/analysis/watch"
	"coldweek/ingest/rig"
)

const (
	// lookEvery and arrival are how a service looks, and how late readings come to it.
	lookEvery, arrival = 30 * time.Second, 2 * time.Second
	// promptly after a rule has seen enough its finding must be there.
	promptly = time.Minute
)

// TestFindingsComePromptly: looked at as a service does while readings arrive, a
// finding is there a minute after the slot in which its rule had seen enough. What
// was enough is told by looks that know all readings up to the ends of slots.
func TestFindingsComePromptly(t *testing.T) {
	for _, row := range []struct {
		trouble rig.Kind
		finding string
		seed    uint64
	}{
		{rig.SwappedSensors, "pipes_swapped", 3},
		{rig.FlowStep, "flow_stepped", 4},
		{rig.WrongFlowUnit, "sensor_wrong_unit/flow_rate", 5},
		{rig.OutdoorJumping, "sensor_jumping/outdoor_temp", 6},
	} {
		t.Run(string(row.trouble), func(t *testing.T) {
			p := rig.Random(row.seed)
			onset := winter.Add(40*time.Hour + 7*time.Minute)
			p.Troubles = []rig.Trouble{{Kind: row.trouble, At: onset}}
			pl := play(t, p, winter, 2)
			enough := firstTold(t, &pl, row.finding, every(onset.Truncate(watch.SlotLength), pl.window.To, watch.SlotLength), 0)
			live := firstTold(t, &pl, row.finding, every(onset, enough.Add(2*watch.SlotLength), lookEvery), arrival)
			t.Logf("%s after the onset, %s after its slot, %s after the first reading in it",
				live.Sub(onset), live.Sub(enough), live.Sub(enough.Add(-watch.SlotLength)))
			assert.WithinRange(t, live, enough, enough.Add(promptly))
		})
	}
}

// firstTold is when a look first shows a finding, of readings that arrive late.
func firstTold(t *testing.T, p *played, kind string, at []time.Time, late time.Duration) time.Time {
	t.Helper()
	st, memory, record := &arriving{shelf: newShelf(p.columns)}, &job.Memory{}, p.plant.Record()
	for _, now := range at {
		st.upto = now.Add(-late)
		watched, err := job.Watch(t.Context(), st, record, now, memory)
		require.NoError(t, err)
		for _, f := range watched.Open {
			if strings.HasPrefix(f.Kind, kind) {
				return now
			}
		}
	}
	require.Fail(t, "never told", kind)
	return time.Time{}
}

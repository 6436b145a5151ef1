package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest/rig"
)

// TestStepAtAYoungPlant: the flow steps on the second or third day of a plant's
// readings. The step is found, and no other is, though the day it falls on is one of
// few to learn from how the plant's flow goes with its output.
func TestStepAtAYoungPlant(t *testing.T) {
	plants := rig.Houses()
	for seed := range uint64(5) {
		plants = append(plants, rig.Random(seed+1))
	}
	for k := range 2 * len(plants) {
		plant := plants[k/2]
		for _, size := range []float64{0.7, 0.3} { // of the flow is left
			from := winter.Add(time.Duration(k/2*7+k%2*13) * time.Hour)
			onset := from.Add(time.Duration(18+(k/2*5+k%2*11)%36) * time.Hour)
			plant.Troubles, plant.Metering.Interval = []rig.Trouble{{Kind: rig.FlowStep, At: onset, Size: size}}, time.Minute
			r, err := rig.New(plant, from)
			require.NoError(t, err)
			end := onset.Add(16 * time.Hour) // some rest for long
			st, record := &arriving{shelf: newShelf(r.Columns(end))}, plant.Record()
			found := 0
			for _, now := range every(onset, end, 20*time.Minute) {
				st.upto = now
				watched, err := job.Watch(t.Context(), st, record, now, &job.Memory{}) // as after a start
				require.NoError(t, err)
				for _, f := range watched.Changed {
					if f.Kind == "flow_stepped" {
						found++
						assert.False(t, f.Since.Before(onset.Add(-10*time.Minute)), "%s, %v after its readings began: %s since %v: %s", plant.ID, onset.Sub(from), f.Kind, f.Since.Sub(onset), f.Title)
					}
				}
			}
			assert.Positive(t, found, "%s, %v left of its flow %v after its readings began", plant.ID, size, onset.Sub(from))
		}
	}
}

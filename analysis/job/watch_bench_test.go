package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/analysis/job"
	"coldweek/ingest/rig"
)

// BenchmarkWatch looks at a plant after four weeks of 10 s readings: at one whose
// readings have moved on by a slot, at one whose have not, and at one for the
// first time, with its past days in the store.
func BenchmarkWatch(b *testing.B) {
	plant := rig.Random(3)
	plant.Metering.Quantities = nil
	played := play(b, plant, winter, 28)
	record, noon := plant.Record(), played.window.To.Add(-12*time.Hour)
	st := newShelf(played.columns)
	look := func(b *testing.B, m *job.Memory, now time.Time) {
		_, err := job.Watch(b.Context(), st, record, now, m)
		require.NoError(b, err)
	}
	memory := &job.Memory{}
	look(b, memory, noon)
	b.Run("moved on", func(b *testing.B) {
		now := noon
		for b.Loop() {
			if now = now.Add(5 * time.Minute); now.After(played.window.To) {
				now = noon
			}
			look(b, memory, now)
		}
	})
	b.Run("unchanged", func(b *testing.B) {
		look(b, memory, noon)
		for b.Loop() {
			look(b, memory, noon)
		}
	})
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			look(b, &job.Memory{}, noon)
		}
	})
}

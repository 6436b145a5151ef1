package sensor_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/operation"
	"coldweek/analysis/sensor"
	"coldweek/analysis/trace"
	"coldweek/ingest/rig"
)

// plantDay is a plant with all it can publish around one day.
func plantDay(t testing.TB, interval time.Duration) (*trace.Trace, *operation.Operation, sensor.Known) {
	p := everything(11)
	p.Metering.Interval = interval
	at := onset(time.January, 11)
	tr, op := around(t, p, at, nil).until(at.Add(afterOnset))
	return tr, op, known(p)
}

// BenchmarkCheck looks at 33 hours; aim: 2 ms.
func BenchmarkCheck(b *testing.B) {
	for _, interval := range []time.Duration{10 * time.Second, time.Minute} {
		b.Run(interval.String(), func(b *testing.B) {
			tr, op, k := plantDay(b, interval)
			b.ReportAllocs()
			for b.Loop() {
				sensor.Check(tr, op, k)
			}
		})
	}
}

// Six times the readings need no more allocations.
func TestCheckDoesNotAllocatePerReading(t *testing.T) {
	var allocations [2]float64
	for i, interval := range []time.Duration{10 * time.Second, time.Minute} {
		tr, op, k := plantDay(t, interval)
		allocations[i] = testing.AllocsPerRun(3, func() { sensor.Check(tr, op, k) })
	}
	assert.InDelta(t, allocations[1], allocations[0], 3)
	assert.Less(t, allocations[0], 60.0)
}

func TestNothingToLookAt(t *testing.T) {
	at := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	for _, tr := range []*trace.Trace{
		trace.Build(nil, at, at, trace.Options{}),
		trace.Build(nil, at, at.AddDate(0, 0, 1), trace.Options{}),
	} {
		assert.Empty(t, sensor.Check(tr, operation.Detect(tr), sensor.Known{}))
	}
	assert.Empty(t, sensor.CheckDays(nil, sensor.Known{}))
	p := rig.Random(3)
	at = onset(time.January, 3)
	s := around(t, p, at, nil)
	for i := range s.columns { // each channel alone
		alone := scene{p, s.low, s.columns[i : i+1]}
		tr, op := alone.until(at.Add(afterOnset))
		assert.Empty(t, sensor.Check(tr, op, known(p)), s.columns[i].Channel)
	}
}

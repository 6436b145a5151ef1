package job_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/rig"
)

// TestFlowTrendIsInTheAnswer: the simulated strainer takes 2 % of the first flow
// a day, 14 % a week.
func TestFlowTrendIsInTheAnswer(t *testing.T) {
	trend := func(days int) *float64 {
		p := goodMeters(rig.Houses()[0], time.Minute, 0)
		p.Troubles = []rig.Trouble{{Kind: rig.BlockingStrainer, Size: 2}}
		return play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), days).analyse(t).Flow.TrendPctPerWeek
	}
	assert.Nil(t, trend(7), "a week is too short")
	fall := trend(12)
	require.NotNil(t, fall)
	assert.InDelta(t, -14, *fall, 1)
}

// TestFlowStepIsDatedInTheAnswer: the simulated circuit closes at this minute.
func TestFlowStepIsDatedInTheAnswer(t *testing.T) {
	at := time.Date(2026, 1, 12, 9, 36, 0, 0, time.UTC)
	p := goodMeters(rig.Houses()[0], time.Minute, 0)
	p.Troubles = []rig.Trouble{{Kind: rig.FlowStep, At: at}}
	r := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 14).analyse(t)
	step := r.FlowRate.Step
	require.NotNil(t, step)
	assert.WithinDuration(t, at, step.From, time.Hour)
	assert.WithinDuration(t, at, step.To, time.Hour)
}

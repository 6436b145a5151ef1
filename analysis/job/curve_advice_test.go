package job_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/curve"
	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// january analyses four weeks of a plant whose sensors are a perfect pair.
func january(t *testing.T, p rig.Plant, troubles ...rig.Trouble) *job.Result {
	t.Helper()
	p.Metering.PairOffsetK = 0
	p.Troubles = troubles
	return play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28).analyse(t)
}

// TestLowestCurveAgainstTruth: the simulated house needs, at its design outdoor
// temperature, the flow of its matched curve without a margin, whatever curve it
// runs on: 4 K too high, as needed, or 4 K too low. Pauses for hot water make it
// some half a kelvin more.
func TestLowestCurveAgainstTruth(t *testing.T) {
	points, held := 0, 0
	for _, p := range curvePlants(t, 1, ingest.FlowTarget, ingest.RoomTemp) {
		needed := p.MatchedCurve(0)[0]
		for _, tooHighK := range []float64{4, 0, -4} {
			r := january(t, p, rig.Trouble{Kind: rig.CurveTooHigh, Size: max(tooHighK, 1e-9)}, rig.Trouble{Kind: rig.RoomBelowSet, Size: max(-tooHighK, 1e-9)})
			a := r.CurveAdvice
			require.NotEqual(t, curve.Unknown, a.Kind, "%s: %s", p.ID, a.Why)
			switch {
			case tooHighK > 0:
				assert.NotContains(t, []curve.Kind{curve.Raise}, a.Kind, "%s: %s", p.ID, a.Why)
			case tooHighK == 0:
				assert.NotEqual(t, curve.Lower, a.Kind, "%s: %s", p.ID, a.Why)
			}
			if a.Lowest == nil {
				assert.Equal(t, "mill-cottage", p.ID, "it cycles, so that its emitters are not seen at rest: %s", a.Missing)
				assert.Contains(t, a.Missing, "ran most of the time")
				continue
			}
			if tooHighK > 0 {
				assert.Equal(t, curve.Lower, a.Kind, "%s: %s", p.ID, a.Why)
				assert.InDelta(t, 2, a.StepK, 0.5, p.ID)
				assert.NotEmpty(t, a.Steps)
				assert.NotNil(t, a.Gain, p.ID)
			} else if tooHighK < 0 {
				assert.Equal(t, curve.Raise, a.Kind, "%s: %s", p.ID, a.Why)
			}
			first := a.Lowest.Points[0]
			assert.InDelta(t, needed.FlowC+0.5, first.FlowC.Value, 2.2, "%s at %+g K", p.ID, tooHighK)
			points++
			if first.FlowC.Low <= needed.FlowC+0.5 && needed.FlowC+0.5 <= first.FlowC.High {
				held++
			}
		}
	}
	t.Logf("held %d of %d", held, points)
	assert.GreaterOrEqual(t, 10*held, 8*points)
	assert.GreaterOrEqual(t, points, 9)
}

// TestGainAgainstTheSamePlantLower: the same houses in the same weather, once
// with a curve 2 K lower; what the SPF of heating rose by must lie in the
// interval that the plant as it was gave.
func TestGainAgainstTheSamePlantLower(t *testing.T) {
	held, asked := 0, 0
	for _, p := range curvePlants(t, 2, ingest.FlowTarget, ingest.RoomTemp) {
		spf := func(lowerK float64) (float64, *job.Result) {
			q := p
			q.Metering.PairOffsetK = 0
			q.Control.RoomCorrectionKPerK, q.Control.RoomCutOutK = 0, 0 // rooms must not undo it
			q.Control.Curve = slices.Clone(p.Control.Curve)
			for i := range q.Control.Curve {
				q.Control.Curve[i].FlowC += 4 - lowerK
			}
			played := play(t, q, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28)
			h, e := played.truth.Heat, played.truth.Electricity
			return (h.SpaceKWh - h.DefrostDrawnKWh) / (e.SpaceKWh + e.DefrostKWh), played.analyse(t)
		}
		before, r := spf(0)
		after, _ := spf(2)
		risePct := 100 * (after/before - 1)
		if r.CurveAdvice.Gain == nil || r.CurveAdvice.StepK != 2 {
			continue
		}
		g := r.CurveAdvice.Gain.SPFPct
		asked++
		if g.Low <= risePct && risePct <= g.High {
			held++
		}
		t.Logf("%-14s SPF %.2f to %.2f, %+.1f %%, expected %.1f (%.1f to %.1f)", p.ID, before, after, risePct, g.Value, g.Low, g.High)
		assert.InDelta(t, risePct, g.Value, 1.2, p.ID)
	}
	assert.GreaterOrEqual(t, asked, 2)
	assert.GreaterOrEqual(t, 10*held, 8*asked)
}

// TestAdviceKnowsWhatItDoesNotKnow: no rooms, no emitters in the record, too few
// days for a heat loss.
func TestAdviceKnowsWhatItDoesNotKnow(t *testing.T) {
	high := rig.Trouble{Kind: rig.CurveTooHigh, Size: 6}
	p := curvePlants(t, 0, ingest.FlowTarget)[0]
	a := january(t, p, high).CurveAdvice
	assert.Equal(t, curve.Unknown, a.Kind)
	assert.Contains(t, a.Why, "no room temperatures")
	assert.Zero(t, a.StepK)
	assert.Empty(t, a.Steps)

	p = curvePlants(t, 0, ingest.FlowTarget, ingest.RoomTemp)[0]
	p.Metering.PairOffsetK, p.Troubles = 0, []rig.Trouble{high}
	played := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28)
	record := p.Record()
	for i := range record.Emitters.Rooms {
		record.Emitters.Rooms[i].Radiators = nil
	}
	r, err := job.AnalyseColumns(record, played.columns, played.window)
	require.NoError(t, err)
	require.NotNil(t, r.CurveAdvice.Lowest, r.CurveAdvice.Missing)
	assert.Empty(t, r.CurveAdvice.Lowest.Deciding, "the house as one, by what its emitters were seen to give")
	first := r.CurveAdvice.Lowest.Points[0].FlowC
	assert.InDelta(t, p.MatchedCurve(0)[0].FlowC+0.5, first.Value, 2)
	assert.Greater(t, first.High-first.Low, 1.5, "of emitters of an unknown kind")
}

package job_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/curve"
	"coldweek/analysis/job"
	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// curvePlants are healthy plants with the channels given beside the bare ones:
// the three houses and a few drawn ones; COLDWEEK_SEEDS=20 draws 20.
func curvePlants(t *testing.T, few int, channels ...ingest.Quantity) []rig.Plant {
	plants := rig.Houses()
	for seed := range uint64(seeds(t, few)) {
		plants = append(plants, rig.Random(seed+1))
	}
	for i := range plants {
		plants[i].Troubles = nil
		plants[i].Metering.Quantities = append(channels, bareSensors...)
	}
	return plants
}

// trueCurve is the simulated controller's: the flow temperature at the design
// outdoor temperature, where it begins, and its mean slope to 15 °C, where it
// ends.
func trueCurve(truth rig.Truth) (flowC, slopeKPerK float64) {
	c := truth.Parameters.HeatingCurve
	first, last := c[0], c[len(c)-1]
	return first.FlowC, (last.FlowC - first.FlowC) / (last.OutdoorC - first.OutdoorC)
}

// TestCurveAgainstTruth: four weeks of January of plants that publish targets and
// room temperatures. The record has the curve's points, so that its shape is
// known; that they are not simply believed is tested below.
func TestCurveAgainstTruth(t *testing.T) {
	for _, p := range curvePlants(t, 4, ingest.FlowTarget, ingest.RoomTemp) {
		played := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28)
		r := played.analyse(t)
		require.Equal(t, curve.Usable, r.Curve.Verdict, "%s: %s", p.ID, r.Curve.Why)
		flowC, slopeKPerK := trueCurve(played.truth)
		h := r.HeatingCurve
		assert.InEpsilon(t, slopeKPerK, *h.Fitted.SlopeKPerK, 0.03, p.ID)
		assert.InDelta(t, flowC, *h.Fitted.FlowAtDesignC, 0.5, p.ID)
		assert.InDelta(t, 0, *h.GapAtDesignK, 0.5, p.ID)
		assert.InDelta(t, slopeKPerK, *h.Set.SlopeKPerK, 1e-9, p.ID)
		assert.InDelta(t, p.Control.DampingH, r.Curve.DampingH, 0.6, p.ID)
		t.Logf("%-14s slope %+.1f %%, at design %+.2f K, damping %g h (%.1f), room %.1f K per K (%.1f)", p.ID, 100*(*h.Fitted.SlopeKPerK/slopeKPerK-1),
			*h.Fitted.FlowAtDesignC-flowC, r.Curve.DampingH, p.Control.DampingH, *r.Curve.RoomSayKPerK, p.Control.RoomCorrectionKPerK)
	}
}

// TestCurveDoubtHoldsTheTruth: without targets, rooms or the set curve's points
// the fit is less good and must say so. What a room did to the curve cannot be
// told where no room is measured.
func TestCurveDoubtHoldsTheTruth(t *testing.T) {
	fits, held := 0, 0
	for variant, channels := range [][]ingest.Quantity{{ingest.FlowTarget, ingest.RoomTemp}, {ingest.RoomTemp}, {}} {
		for _, p := range curvePlants(t, 1, channels...) {
			played := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28)
			record := p.Record()
			if variant == 0 {
				record.HeatingCurve = nil
			}
			r, err := job.AnalyseColumns(record, played.columns, played.window)
			require.NoError(t, err)
			if r.Curve.Verdict != curve.Usable {
				assert.Equal(t, "mill-cottage", p.ID, "it cycles at its lowest output all the time: %s", r.Curve.Why)
				continue
			}
			fits++
			flowC, slopeKPerK := trueCurve(played.truth)
			at, slope := r.Curve.FlowAtDesignC, r.Curve.SlopeKPerK
			if at.Low <= flowC && flowC <= at.High && slope.Low <= slopeKPerK && slopeKPerK <= slope.High {
				held++
			}
			assert.InDelta(t, flowC, at.Value, 1.3, "%s with %v", p.ID, channels)
			assert.Less(t, at.High-at.Low, 2.6, "%s with %v", p.ID, channels)
		}
	}
	t.Logf("held %d of %d", held, fits)
	assert.GreaterOrEqual(t, 10*held, 8*fits)
}

// TestCurveThatWasNotSet: the record has a curve of another slope than the plant
// follows; it is not believed.
func TestCurveThatWasNotSet(t *testing.T) {
	p := curvePlants(t, 0, ingest.FlowTarget, ingest.RoomTemp)[0]
	played := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 28)
	record := p.Record()
	for i := range record.HeatingCurve.Points { // a curve of another slope
		point := &record.HeatingCurve.Points[i]
		point.FlowTempC = 30 - 0.4*(point.OutdoorTempC-10)
	}
	r, err := job.AnalyseColumns(record, played.columns, played.window)
	require.NoError(t, err)
	flowC, slopeKPerK := trueCurve(played.truth)
	assert.InDelta(t, flowC, *r.HeatingCurve.Fitted.FlowAtDesignC, 0.5)
	assert.InEpsilon(t, slopeKPerK, *r.HeatingCurve.Fitted.SlopeKPerK, 0.06)
	assert.InDelta(t, flowC-35.2, *r.HeatingCurve.GapAtDesignK, 0.5)
}

// TestNoUsableCurve: plants that hold 45 °C in all weathers, and plants whose
// compressor knows only full output and off, with targets and without. A house
// that 45 °C makes too warm may heat too rarely to tell.
func TestNoUsableCurve(t *testing.T) {
	for _, channels := range [][]ingest.Quantity{{ingest.FlowTarget, ingest.RoomTemp}, {}} {
		for _, p := range curvePlants(t, 1, channels...) {
			for _, kind := range []rig.Kind{rig.CurveNotFollowed, rig.OnOffControl} {
				p.Troubles = []rig.Trouble{{Kind: kind}}
				r := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 14).analyse(t)
				told := r.Curve.Verdict == curve.NoCurve || len(channels) == 0 && r.Curve.Verdict == curve.NotKnown
				assert.True(t, told, "%s %s: %s", p.ID, kind, r.Curve.Why)
				if len(channels) > 0 && kind == rig.CurveNotFollowed {
					assert.Contains(t, r.Curve.Why, "stays at 45.0 °C", p.ID)
				}
				t.Logf("%-14s %-18s %s: %s", p.ID, kind, r.Curve.Verdict, r.Curve.Why)
				assert.Nil(t, r.HeatingCurve.Fitted.SlopeKPerK)
				assert.Nil(t, r.HeatingCurve.Fitted.FlowAtDesignC)
				assert.Nil(t, r.HeatingCurve.GapAtDesignK)
			}
		}
	}
}

// TestCurveTooHighIsACurve: a warm room stops such plants at high output over
// and over; that is not on/off control.
func TestCurveTooHighIsACurve(t *testing.T) {
	for _, p := range curvePlants(t, 2, ingest.FlowTarget, ingest.RoomTemp) {
		p.Troubles = []rig.Trouble{{Kind: rig.CurveTooHigh, Size: 8}}
		r := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 14).analyse(t)
		require.NotNil(t, r.HeatingCurve.GapAtDesignK, "%s: %s", p.ID, r.Curve.Why)
		assert.InDelta(t, 8, *r.HeatingCurve.GapAtDesignK, 1, p.ID)
	}
}

// TestCurveHysteresis: the simulated Mill Cottage starts 3 K below its target
// and stops 2 K above it.
func TestCurveHysteresis(t *testing.T) {
	p := curvePlants(t, 0, ingest.FlowTarget, ingest.RoomTemp)[1]
	h := play(t, p, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), 14).analyse(t).Curve.Hysteresis
	require.NotNil(t, h)
	assert.InDelta(t, p.Control.StartBelowK, h.StartBelowK, 0.5)
	assert.InDelta(t, p.Control.StopAboveK, h.StopAboveK, 0.5)
	assert.False(t, math.IsNaN(h.StartBelowK))
}

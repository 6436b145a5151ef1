package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"coldweek/analysis/curve"
	"coldweek/analysis/emitter"
	"coldweek/analysis/job"
	"coldweek/analysis/robust"
)

func TestCurveInWords(t *testing.T) {
	var out strings.Builder
	r := &job.Result{
		Curve: &curve.Fit{Verdict: curve.Usable, Why: "the target follows", Hours: 601, FromTarget: true, RMSK: 0.11, Shape: curve.AsSet, DampingH: 2,
			SlopeKPerK: robust.Estimate{Value: -1.02, Low: -1.05, High: -0.98}, FlowAtDesignC: &robust.Estimate{Value: 47, Low: 46.6, High: 47.5},
			RoomSayKPerK: new(1.5), RoomsKnown: true, HighC: new(48.0), Hysteresis: &curve.Hysteresis{StartBelowK: 3, StopAboveK: 2, Starts: 40, Stops: 41}},
		HeatingCurve: job.HeatingCurve{Set: job.SetCurve{SlopeKPerK: new(-1.0), FlowAtDesignC: new(45.0)}, GapAtDesignK: new(2.0)},
		CurveAdvice: curve.Advice{Kind: curve.Lower, StepK: 2, Why: "the rooms hold", Steps: []string{"Lower it.", "Watch it."}, Remarks: []string{"hot water"},
			Gain: &curve.Gain{LowerK: 2, SPFPct: robust.Estimate{Value: 3.6, Low: 2.8, High: 4.4}},
			Lowest: &curve.Lowest{Deciding: "study", Points: []curve.LowestPoint{
				{OutdoorC: -3, FlowC: robust.Estimate{Value: 43, Low: 42, High: 44}, MarginK: robust.Estimate{Value: 4, Low: 3, High: 5}}}},
		},
	}
	writeCurve(&out, r)
	text := out.String()
	for _, want := range []string{
		"Heating curve: usable; the target follows",
		"-1.02 (-1.05 to -0.98) K per K; set -1.00",
		"47.0 (46.6 to 47.5) °C; set 45.0 °C, +2.0 K from it",
		"601 h of settled heating, scatter 0.1 K, shape as set, outdoors damped by 2 h, 1.5 K for each K the rooms are short",
		"the target stays at 48.0 °C in the cold",
		"3.0 K below it and end 2.0 K above (40 and 41 runs)",
		"Advice: it may come down; the rooms hold",
		"Design day, -3 °C, will need a flow of 43.0 (42.0 to 44.0) °C, by the room that needs most: study",
		"1. Lower it.", "2. Watch it.",
		"Expected of 2.0 K less: SPF of heating up by 3.6 (2.8 to 4.4) %, in weather like this",
		"Mind: hot water",
	} {
		assert.Contains(t, text, want)
	}

	out.Reset()
	writeCurve(&out, &job.Result{Curve: &curve.Fit{Verdict: curve.NoCurve, Why: "it stays at 45 °C"}, CurveAdvice: curve.Advice{Kind: curve.Unknown, Why: "it stays at 45 °C"}})
	assert.Equal(t, "Heating curve: no usable curve; it stays at 45 °C\n\n", out.String(), "the reason is given once")
}

func TestEmittersInWords(t *testing.T) {
	var out strings.Builder
	writeEmitters(&out, &job.Result{})
	assert.Empty(t, out.String(), "nobody was there")

	rooms := emitter.Outputs([]emitter.Room{
		{Place: "bath", FloorAreaM2: 6, DesignLossW: new(900.0), DesignRoomC: new(24.0), Spots: emitter.Spots{RoomC: new(24.0), OutdoorC: new(-3.0), SurfaceC: []float64{28, 30}}},
		{Place: "study", Spots: emitter.Spots{SurfaceC: []float64{25}}},
	}, new(-3.0))
	writeEmitters(&out, &job.Result{Emitters: job.Emitters{Visit: time.Date(2026, 1, 12, 10, 30, 0, 0, time.UTC), Rooms: rooms, Circuits: &job.Circuits{
		Names: []string{"north", "south"}, SetShare: []float64{0.5, 0.5}, HeatShare: []float64{0.56, 0.44}, FromVisits: true,
		Division: emitter.Division{FlowShare: []robust.Estimate{{Value: 0.33, Low: 0.27, High: 0.39}, {Value: 0.67, Low: 0.61, High: 0.73}}},
	}}})
	text := out.String()
	assert.Contains(t, text, "by the readings of 12 Jan 2026 10:30")
	assert.Regexp(t, `bath +falls short of its loss; gives \d+ \(\d+ to \d+\) W; loses 900 W by design at the temperatures found; floor at 29\.0 °C`, text)
	assert.Contains(t, text, "30.0 °C in one place, beyond EN 1264's 29 °C (occupied)")
	assert.Regexp(t, `study +not known; not read: room temperature`, text)
	assert.Contains(t, text, "Circuits: north 33 % of the flow (27 to 39), commissioned 50 %, 56 % of the heat; south 67 %")

	out.Reset()
	writeEmitters(&out, &job.Result{Emitters: job.Emitters{Circuits: &job.Circuits{Why: "the returns are equal"}}})
	assert.Equal(t, "Circuits: not known: the returns are equal\n\n", out.String())
}

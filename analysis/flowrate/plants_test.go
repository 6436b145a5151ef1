package flowrate_test

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/flowrate"
	"coldweek/analysis/playtest"
	"coldweek/ingest/rig"
)

// The simulated plants of ingest/rig are the reference: they know what their
// flow did. COLDWEEK_LONG=1 plays twenty of them, else two: one with a pump of
// constant speed and one whose pump follows the output.

const plantDays = 28

var firstDay = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)

func seeds() []uint64 {
	if os.Getenv("COLDWEEK_LONG") != "1" {
		return []uint64{4, 9}
	}
	var all []uint64
	for s := range uint64(20) {
		all = append(all, s+1)
	}
	return all
}

// outcome of one plant.
type outcome struct {
	plant  rig.Plant
	result *flowrate.Result
	played playtest.Played
}

// playAll plays each plant with a trouble of its own, or with none.
func playAll(t *testing.T, trouble func(seed uint64) []rig.Trouble) []outcome {
	t.Helper()
	found := make([]outcome, len(seeds()))
	var wg sync.WaitGroup
	turn := make(chan bool, runtime.GOMAXPROCS(0))
	for i, seed := range seeds() {
		wg.Go(func() {
			turn <- true
			defer func() { <-turn }()
			p := rig.Random(seed)
			p.Metering.Quantities = bareSensors
			p.Troubles = trouble(seed)
			pl := playtest.Play(t, p, firstDay, plantDays)
			o := outcome{plant: p, result: flowrate.Of(pl.Days)}
			if s := o.result.Step; s != nil {
				tr, op := pl.Look(s.From, s.To)
				o.result.Date(tr, op)
			}
			pl.Columns = nil // twenty plants' readings would not fit
			o.played = pl
			found[i] = o
		})
	}
	wg.Wait()
	return found
}

// table lists how each plant's trend came out against the truth, and how many
// intervals hold it.
func table(outcomes []outcome, wantPct float64) (text string, held int) {
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-9s %-11s %-8s %-8s %-18s %-7s %s\n", "plant", "pump gives", "truth", "found", "95 % interval", "P", "rho")
	for _, o := range outcomes {
		t := o.result.Trend
		fmt.Fprintf(&b, "%-9s up %3.0f %%    ", o.plant.ID, 100*o.plant.Loop.ModulatingShare)
		if t == nil {
			fmt.Fprintln(&b, "no trend")
			continue
		}
		mark := "misses"
		if wantPct >= t.PctPerWeek.Low && wantPct <= t.PctPerWeek.High {
			mark = ""
			held++
		}
		fmt.Fprintf(&b, "%-+8.2f %-+8.2f %+7.2f to %+7.2f %.4f %.2f %s\n", wantPct, t.PctPerWeek.Value, t.PctPerWeek.Low, t.PctPerWeek.High, t.P, t.Correlation, mark)
	}
	fmt.Fprintf(&b, "%d of %d intervals hold the truth", held, len(outcomes))
	return b.String(), held
}

// enough of n intervals of 95 % hold the truth.
func enough(n int) int { return n - n/20 }

func TestHealthyPlantsHaveNoTrend(t *testing.T) {
	outcomes := playAll(t, func(uint64) []rig.Trouble { return nil })
	text, held := table(outcomes, 0)
	t.Log(text)
	assert.GreaterOrEqual(t, held, enough(len(outcomes)))
	for _, o := range outcomes {
		assert.Nil(t, o.result.Step, "%s: no step", o.plant.ID)
		if o.plant.Loop.ModulatingShare == 0 {
			assert.InEpsilon(t, o.plant.Loop.FlowLPH, *o.result.HighLPH, 0.005, "%s: a constant pump gives what was commissioned", o.plant.ID)
		}
	}
}

func TestBlockingStrainerIsRecovered(t *testing.T) {
	for _, pctPerDay := range []float64{1, 2} {
		t.Run(fmt.Sprintf("%g%%", pctPerDay), func(t *testing.T) {
			outcomes := playAll(t, func(uint64) []rig.Trouble {
				return []rig.Trouble{{Kind: rig.BlockingStrainer, Size: pctPerDay}}
			})
			text, held := table(outcomes, -7*pctPerDay)
			t.Log(text)
			assert.GreaterOrEqual(t, held, enough(len(outcomes)))
			for _, o := range outcomes {
				require.NotNil(t, o.result.Trend)
				assert.True(t, o.result.Trend.Seen())
				assert.Nil(t, o.result.Step, "%s: a trend is no step", o.plant.ID)
			}
		})
	}
}

// TestStepIsDated: a circuit closes at another hour of another day in every
// plant, from the sixth day to the fifth before the end.
func TestStepIsDated(t *testing.T) {
	const share = 0.7
	after := func(seed uint64) time.Duration { return time.Duration(5*24+seed*21)*time.Hour + 37*time.Minute }
	outcomes := playAll(t, func(seed uint64) []rig.Trouble {
		return []rig.Trouble{{Kind: rig.FlowStep, Size: share, After: after(seed)}}
	})
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-9s %-18s %-30s %-22s %s\n", "plant", "truth", "found between", "change, %", "running time off")
	for _, o := range outcomes {
		s := o.result.Step
		if !assert.NotNil(t, s, o.plant.ID) {
			continue
		}
		at := o.played.Truth.Troubles[0].At
		off := runningBetween(o.played.Truth.Runs, at, s.From, s.To)
		fmt.Fprintf(&b, "%-9s %-18s %s to %s  %+.1f (%+.1f to %+.1f)  %v\n", o.plant.ID, at.Format("2 Jan 15:04:05"), s.From.UTC().Format("2 Jan 15:04:05"),
			s.To.UTC().Format("15:04:05"), s.ChangePct.Value, s.ChangePct.Low, s.ChangePct.High, off)
		assert.LessOrEqual(t, off, time.Hour, "%s: running time between the step and where it was dated", o.plant.ID)
		assert.InDelta(t, -30, s.ChangePct.Value, 1.5, o.plant.ID)
	}
	t.Log(b.String())
	_, held := table(outcomes, 0)
	assert.GreaterOrEqual(t, held, enough(len(outcomes)), "nothing of the step is left in the trend")
}

// TestNeedlessPumpIsSeen: in summer the plant only makes hot water; with the
// trouble its pump never stops. Its own meter and the site's must agree on what
// that takes.
func TestNeedlessPumpIsSeen(t *testing.T) {
	july := time.Date(2026, 7, 6, 0, 0, 0, 0, time.UTC)
	use := func(troubles ...rig.Trouble) (*flowrate.PumpUse, playtest.Played, rig.Plant) {
		p := rig.Houses()[0]
		p.Control.HeatingLimitC = 8
		p.Troubles = troubles
		pl := playtest.Play(t, p, july, 4)
		return flowrate.Of(pl.Days[1:]).Pump, pl, p
	}
	healthy, _, _ := use()
	assert.Less(t, healthy.IdleHours, 0.2, "a healthy plant's pump stands when nothing is wanted")

	needless, pl, p := use(rig.Trouble{Kind: rig.NeedlessPump})
	ranHours := 0.0
	for _, r := range pl.Truth.Runs {
		if !r.From.Before(pl.Days[1].From) {
			ranHours += r.To.Sub(r.From).Hours() / 3
		}
	}
	assert.InDelta(t, 24-ranHours, needless.IdleHours+needless.OverrunHours+needless.FrostHours, 0.1, "all of the day but the runs")
	assert.Zero(t, needless.FrostHours)
	require.NotNil(t, needless.IdleKWh)
	assert.True(t, needless.OwnMeter)
	// At the commissioned flow the rig's pump takes PumpW.
	assert.InDelta(t, p.Loop.PumpW*needless.IdleHours/1000, *needless.IdleKWh, 0.03)
}

// runningBetween is the compressor's running time between a moment and a span.
func runningBetween(runs []rig.Run, at, from, to time.Time) time.Duration {
	first, last := at, from
	switch {
	case at.After(to):
		first, last = to, at
	case !at.Before(from):
		return 0
	}
	return playtest.Ran(runs, first, last)
}

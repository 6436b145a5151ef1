package job_test

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/cycling"
	"coldweek/ingest/rig"
)

// seeds is how many plants a test draws: COLDWEEK_SEEDS, else a few.
func seeds(t *testing.T, few int) int {
	t.Helper()
	text := os.Getenv("COLDWEEK_SEEDS")
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "COLDWEEK_SEEDS")
	return n
}

// lean draws a plant with half the water of the rig's usual ones, 23 to 38 l
// per kW of lowest output and its metal, and two thirds of their hysteresis: it
// is sound, but a trouble shows.
func lean(seed uint64) rig.Plant {
	p := rig.Random(seed)
	for _, part := range []*float64{&p.Loop.VolumeL, &p.Emitters.WaterL, &p.Emitters.MetalKJPerK, &p.Emitters.SlabMJPerK} {
		*part *= 0.5
	}
	p.Control.StartBelowK *= 0.7
	p.Control.StopAboveK *= 0.7
	return p
}

// cyclesTruly says whether the plant really makes heating runs of under twenty
// minutes, at least six a day.
func cyclesTruly(truth rig.Truth, days int) bool {
	var minutes []float64
	for _, r := range truth.Runs {
		if r.Kind == rig.HeatingRun && !r.Open {
			minutes = append(minutes, r.To.Sub(r.From).Minutes())
		}
	}
	slices.Sort(minutes)
	return len(minutes) >= 6*days && minutes[len(minutes)/2] < 20
}

// whyCycling pairs troubles with the cause that must come first.
var whyCycling = []struct {
	trouble rig.Kind
	cause   cycling.Kind
}{
	{rig.OversizedMinimum, cycling.MinimumOutput},
	{rig.OnOffControl, cycling.MinimumOutput},
	{rig.TooLittleWater, cycling.LittleWater},
	{rig.ThermostatChopping, cycling.RoomDemand},
	{rig.TightHysteresis, cycling.TightSwing},
	{"", ""},
}

// TestWhyPlantsCycle: the simulated plant knows its own trouble. In spring
// weather, of those that truly cycle for it, the right cause comes first in nine
// of ten, and no cause is named of sound ones in nine of ten.
// COLDWEEK_SEEDS=30 draws thirty plants of each.
func TestWhyPlantsCycle(t *testing.T) {
	const days = 4
	n := seeds(t, 12)
	april := time.Date(2026, 4, 10, 0, 0, 0, 0, time.UTC)
	verdicts := make([]string, len(whyCycling)*n)
	var wg sync.WaitGroup
	turns := make(chan struct{}, 2)
	for k, why := range whyCycling {
		for i := range n {
			wg.Go(func() {
				turns <- struct{}{}
				defer func() { <-turns }()
				p := lean(uint64(i + 1))
				if why.trouble != "" {
					p.Troubles = []rig.Trouble{{Kind: why.trouble}}
				}
				pl := play(t, p, april, days)
				if why.trouble != "" && !cyclesTruly(pl.truth, days) {
					return
				}
				running := pl.analyse(t).Running
				verdicts[k*n+i] = "none"
				if len(running.Causes) > 0 && running.Causes[0].Finding == cycling.Likely {
					verdicts[k*n+i] = string(running.Causes[0].Kind)
				}
			})
		}
	}
	wg.Wait()
	for k, why := range whyCycling {
		want := string(why.cause)
		if want == "" {
			want = "none"
		}
		counts := map[string]int{}
		for _, verdict := range verdicts[k*n : (k+1)*n] {
			counts[verdict]++
		}
		cycle := n - counts[""]
		delete(counts, "")
		t.Logf("%-20s %2d of %2d plants looked at; first cause %s", orHealthy(why.trouble), cycle, n, fmt.Sprint(counts))
		require.NotZero(t, cycle, "none of the plants with %s cycles", why.trouble)
		assert.GreaterOrEqual(t, 10*counts[want], 9*cycle, "%s: %v", why.trouble, counts)
	}
}

func orHealthy(trouble rig.Kind) rig.Kind {
	if trouble == "" {
		return "healthy"
	}
	return trouble
}

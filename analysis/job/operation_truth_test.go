package job_test

import (
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

// total adds up the scores of many plants.
type total struct {
	defrosts, hit, found, foundHit int
	minutes, trueMinutes           float64
	starts, trueStarts, startsOff  int
	hotWaterKWh, trueHotWaterKWh   float64
	hotWaterOffKWh                 float64
}

func (sum *total) add(s score) {
	sum.defrosts += s.defrosts
	sum.hit += s.hit
	sum.found += s.found
	sum.foundHit += s.foundHit
	sum.minutes += s.minutes
	sum.trueMinutes += s.trueMinutes
	sum.starts += s.starts
	sum.trueStarts += s.trueStarts
	sum.startsOff += max(s.starts-s.trueStarts, s.trueStarts-s.starts)
	sum.hotWaterKWh += s.hotWaterKWh
	sum.trueHotWaterKWh += s.trueHotWaterKWh
	sum.hotWaterOffKWh += math.Abs(s.hotWaterKWh - s.trueHotWaterKWh)
}

// playMany plays the plants of the seeds 1 to n, half of them with a mode, half
// sampled once a minute.
func playMany(t *testing.T, n int, from time.Time, days int) total {
	scores := make([]score, n)
	var wg sync.WaitGroup
	turns := make(chan struct{}, 2)
	for k := range scores {
		wg.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			p := rig.Random(uint64(k + 1))
			p.Metering.Interval = []time.Duration{10 * time.Second, time.Minute}[k%2]
			p.Metering.Quantities = bareSensors
			if k/2%2 == 1 {
				p.Metering.Quantities = append([]ingest.Quantity{ingest.ModeQuantity}, bareSensors...)
			}
			pl := play(t, p, from, days)
			r := pl.analyse(t)
			scores[k] = scoreOf(pl, r)
			e := r.Electricity
			assert.InDelta(t, *e.TotalKWh, *e.SpaceKWh+*e.HotWaterKWh+*e.DefrostKWh+*e.StandbyKWh, 0.001**e.TotalKWh, "states add up")
		})
	}
	wg.Wait()
	var sum total
	var table strings.Builder
	for k, s := range scores {
		sum.add(s)
		table.WriteString([]string{"10 s", "60 s"}[k%2] + [...]string{"       ", " mode  "}[k/2%2] + s.String() + "\n")
	}
	t.Logf("%d days from %s\n%s", days, from.Format(time.DateOnly), table.String())
	return sum
}

// TestOperationInSpringAndSummer: when plants run lightly or for hot water
// alone, starts and hot water must still be right, and nothing defrosts in July.
func TestOperationInSpringAndSummer(t *testing.T) {
	if testing.Short() {
		t.Skip("two seasons of ten plants")
	}
	for _, month := range []time.Month{time.April, time.July} {
		sum := playMany(t, 10, time.Date(2026, month, 5, 0, 0, 0, 0, time.UTC), 4)
		assert.LessOrEqual(t, share(sum.startsOff, sum.trueStarts), 1.5, "starts missed or invented in %s, %%", month)
		assert.InEpsilon(t, sum.trueHotWaterKWh, sum.hotWaterKWh, 0.03, "hot-water heat in %s", month)
		if month == time.July {
			assert.LessOrEqual(t, sum.found, 1, "defrosts in July")
		}
	}
}

// TestOperationAgainstTruth plays 20 healthy plants of many sizes, climates,
// emitters and both defrost styles, half of them with a mode, half sampled once
// a minute, and holds what was detected against what happened. The seeds are
// the numbers 1 to 20. A week by default, four with COLDWEEK_ALL.
func TestOperationAgainstTruth(t *testing.T) {
	days := 7
	if os.Getenv("COLDWEEK_ALL") != "" {
		days = 28
	}
	if testing.Short() {
		days = 2
	}
	sum := playMany(t, 20, time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC), days)
	require.NotZero(t, sum.defrosts)
	if days < 7 {
		return // too few episodes for percentages
	}
	assert.GreaterOrEqual(t, share(sum.hit, sum.defrosts), 98.0, "defrost recall, %")
	assert.GreaterOrEqual(t, share(sum.foundHit, sum.found), 98.0, "defrost precision, %")
	assert.InEpsilon(t, sum.trueMinutes, sum.minutes, 0.05, "defrost minutes")
	assert.LessOrEqual(t, share(sum.startsOff, sum.trueStarts), 1.0, "starts missed or invented, %")
	assert.InEpsilon(t, sum.trueHotWaterKWh, sum.hotWaterKWh, 0.03, "hot-water heat")
	t.Logf("together: recall %.1f %% precision %.1f %% minutes %+.1f %% starts off by %d of %d, hot water %+.1f %% (single plants off by %.1f %%)",
		share(sum.hit, sum.defrosts), share(sum.foundHit, sum.found), 100*(sum.minutes/sum.trueMinutes-1), sum.startsOff, sum.trueStarts,
		100*(sum.hotWaterKWh/sum.trueHotWaterKWh-1), 100*sum.hotWaterOffKWh/sum.trueHotWaterKWh)
}

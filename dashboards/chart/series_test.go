package chart

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func wholeWindow(fromMS, toMS float64) window { return window{fromMS, toMS, toMS} }

func testClock(toMS float64, width float64) clock {
	return clock{wholeWindow(0, toMS), 10, 10 + width, time.UTC}
}

// noisyRun is a run of n samples at uneven times, with rare spikes.
func noisyRun(r *rand.Rand, n int, toMS float64) []sample {
	run := make([]sample, n)
	for i := range run {
		run[i] = sample{toMS * (float64(i) + 0.8*r.Float64()) / float64(n), r.NormFloat64()}
		if r.IntN(50) == 0 {
			run[i].value *= 30
		}
	}
	return run
}

type extremes struct{ low, high float64 }

// columnExtremes is the definition itself, without any cleverness.
func columnExtremes(run []sample, c clock) map[int]extremes {
	all := map[int]extremes{}
	for _, p := range run {
		k := c.column(p.ms)
		e, any := all[k]
		if !any {
			e = extremes{p.value, p.value}
		}
		all[k] = extremes{min(e.low, p.value), max(e.high, p.value)}
	}
	return all
}

func TestDecimateKeepsTheExtremesOfEveryColumn(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n, width := 1+r.IntN(4000), 20+r.Float64()*900
		c := testClock(1e6, width)
		run := noisyRun(r, n, 1e6)
		kept := decimate(run, c.column)
		require.Equal(t, columnExtremes(run, c), columnExtremes(kept, c))
		require.LessOrEqual(t, len(kept), 4*int(width+1))
		require.True(t, slices.IsSortedFunc(kept, func(a, b sample) int { return int(a.ms - b.ms) }))
		require.Equal(t, []sample{run[0], run[n-1]}, []sample{kept[0], kept[len(kept)-1]})
	}
}

func TestDecimateLeavesFromTheLastSampleBeforeALeap(t *testing.T) {
	// Five changes within one pixel, then nothing for six hours: the line must
	// hold the last of them, not the extreme.
	run := []sample{{1, 20}, {2, 55}, {3, 10}, {4, 30}, {5, 33}, {900_000, 35}}
	kept := decimate(run, testClock(1e6, 100).column)
	assert.Contains(t, kept, sample{5, 33})
	assert.Contains(t, kept, sample{2, 55})
	assert.Contains(t, kept, sample{3, 10})
}

// interpolate reads a line at x.
func interpolate(line []Point, x float64) float64 {
	i, exact := slices.BinarySearchFunc(line, x, func(p Point, x float64) int {
		if p.X < x {
			return -1
		}
		if p.X > x {
			return 1
		}
		return 0
	})
	if exact || i == 0 {
		return line[i].Y
	}
	a, b := line[i-1], line[i]
	return a.Y + (b.Y-a.Y)*(x-a.X)/(b.X-a.X)
}

func TestThinPassesEveryDroppedPointWithinTheTolerance(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	dropped := 0
	for range 300 {
		line := []Point{}
		x, y := 0.0, 0.0
		for range 2 + r.IntN(400) {
			x += 0.1 + r.Float64()
			y += r.NormFloat64() * 0.4
			line = append(line, Point{x, y})
		}
		kept := thin(line, 0.4)
		dropped += len(line) - len(kept)
		for _, p := range line {
			require.InDelta(t, p.Y, interpolate(kept, p.X), 0.4+1e-9)
		}
	}
	assert.Greater(t, dropped, 1000, "thinning is to some purpose")
}

func TestThinKeepsUprightStrokes(t *testing.T) {
	line := []Point{{0, 0}, {1, 0}, {1, 50}, {1, -50}, {1, 0}, {2, 0}, {3, 0}, {4, 0}}
	assert.Equal(t, []Point{{0, 0}, {1, 0}, {1, 50}, {1, -50}, {1, 0}, {4, 0}}, thin(line, 0.4))
}

func TestStairsHoldAValueUntilTheNext(t *testing.T) {
	line := []Point{{0, 10}, {5, 10.2}, {9, 30}, {20, 30}}
	assert.Equal(t, []Point{{0, 10}, {9, 10}, {9, 30}, {20, 30}}, stairs(line, 0.4))
}

func TestRunsEndAtGaps(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	s := Series{UnixMS: []int64{0, 10, 20, 30, 40, 50, 150, 160}, Value: []float64{1, 2, nan, 4, inf, 6, 7, 8}, MaxGapMS: 20}
	assert.Equal(t, [][]sample{{{0, 1}, {10, 2}}, {{30, 4}}, {{50, 6}}, {{150, 7}, {160, 8}}}, s.runs(wholeWindow(0, 200)))
	s.MaxGapMS = 0
	assert.Len(t, s.runs(wholeWindow(0, 200)), 3, "without a limit only what is no number is a gap")
}

func TestRunsAreMetAtTheEdgesOfTheWindow(t *testing.T) {
	s := Series{UnixMS: []int64{0, 100, 200}, Value: []float64{10, 20, 40}}
	assert.Equal(t, [][]sample{{{50, 15}, {100, 20}, {150, 30}}}, s.runs(wholeWindow(50, 150)))
	assert.Equal(t, [][]sample{{{110, 22}, {120, 24}}}, s.runs(wholeWindow(110, 120)), "no reading within the window")
	s.MaxGapMS = 50
	assert.Equal(t, [][]sample{{{100, 20}}}, s.runs(wholeWindow(50, 150)))
}

func TestHeldValuesLastForTheGapAtMost(t *testing.T) {
	s := Series{UnixMS: []int64{0, 100, 200, 900}, Value: []float64{1, 2, 3, 4}, MaxGapMS: 150, Hold: true}
	assert.Equal(t, [][]sample{{{0, 1}, {100, 2}, {200, 3}, {350, 3}}, {{900, 4}, {1000, 4}}}, s.runs(wholeWindow(0, 1000)))
	until := window{0, 1000, 920}
	assert.Equal(t, []sample{{900, 4}, {920, 4}}, s.runs(until)[1], "nothing is known of the future")
	s.Value[3] = math.NaN()
	assert.Equal(t, [][]sample{{{0, 1}, {100, 2}, {200, 3}, {350, 3}}}, s.runs(wholeWindow(0, 1000)))
}

// The mean of a straight line over a column is its value in the middle, and
// that of a step is the average weighted by time, whatever the spacing.
func TestBins(t *testing.T) {
	c := testClock(1000, 10) // columns of 100 ms
	straight := bins([]sample{{0, 0}, {333, 333}, {1000, 1000}}, c, false)
	require.GreaterOrEqual(t, len(straight), 10)
	for i, b := range straight[:10] {
		assert.InDelta(t, float64(100*i+50), b.mean, 1e-6)
		assert.InDelta(t, float64(100*i), b.low, 1e-6)
		assert.InDelta(t, float64(100*i+100), b.high, 1e-6)
		assert.InDelta(t, 10.5+float64(i), b.x, 1e-9)
	}
	steps := bins([]sample{{0, 10}, {30, 50}, {80, 0}, {250, 0}}, c, true)
	require.Len(t, steps, 3)
	assert.InDelta(t, (10*30+50*50+0*20)/100.0, steps[0].mean, 1e-9)
	assert.Equal(t, extremes{0, 50}, extremes{steps[0].low, steps[0].high})
}

func TestBinsKeepTheExtremesOfEveryColumn(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 100 {
		c := testClock(1e6, 20+r.Float64()*400)
		run := noisyRun(r, 1+r.IntN(3000), 1e6)
		got := map[int]bin{}
		for _, b := range bins(run, c, r.IntN(2) == 0) {
			got[int(b.x)] = b
			require.True(t, b.low <= b.mean+1e-9 && b.mean <= b.high+1e-9)
		}
		for column, want := range columnExtremes(run, c) {
			require.LessOrEqual(t, got[column].low, want.low)
			require.GreaterOrEqual(t, got[column].high, want.high)
		}
	}
}

func TestUncovered(t *testing.T) {
	w := window{0, 100, 90}
	covered := []interval{{50, 60}, {5, 20}, {10, 30}, {58, 70}}
	assert.Equal(t, []interval{{0, 5}, {30, 50}, {70, 90}}, w.uncovered(covered, 1))
	assert.Equal(t, []interval{{30, 50}, {70, 90}}, w.uncovered(covered, 6))
	assert.Equal(t, []interval{{0, 90}}, w.uncovered(nil, 1))
}

func TestSeriesOfUnequalLengthsAreAMistakeOfTheCaller(t *testing.T) {
	assert.Panics(t, func() { Series{UnixMS: []int64{1}}.runs(wholeWindow(0, 10)) })
}

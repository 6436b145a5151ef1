package robust

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// share runs a trial many times and returns how often it came out true.
func share(trials int, trial func(random *rand.Rand) bool) float64 {
	random := rand.New(rand.NewPCG(11, 13))
	hits := 0
	for range trials {
		if trial(random) {
			hits++
		}
	}
	return float64(hits) / float64(trials)
}

func noise(random *rand.Rand, n int) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = random.NormFloat64()
	}
	return values
}

// following makes values that follow each other with correlation rho.
func following(random *rand.Rand, n int, rho float64) []float64 {
	values := noise(random, n)
	for i := 1; i < n; i++ {
		values[i] = rho*values[i-1] + math.Sqrt(1-rho*rho)*values[i]
	}
	return values
}

// A 95 % interval must hold the true slope 95 times in a hundred; 1 of 10 points
// is wild. Three standard errors of the share are 0.014.
func TestSlopeIntervalHoldsTheTruth(t *testing.T) {
	const slope = -5
	held := share(2000, func(random *rand.Rand) bool {
		x, y := noise(random, 40), noise(random, 40)
		for i := range y {
			if random.IntN(10) == 0 {
				y[i] *= 20
			}
			y[i] += slope * x[i]
		}
		line, ok := TheilSen(x, y)
		return ok && line.Slope.Low <= slope && slope <= line.Slope.High
	})
	assert.InDelta(t, 0.95, held, 0.014)
}

// Without a trend P < 0.05 must come out 5 times in a hundred. The noise is
// rounded so that ties are many.
func TestTrendIsRarelySeenWhereNoneIs(t *testing.T) {
	seen := share(4000, func(random *rand.Rand) bool {
		values := noise(random, 60)
		for i := range values {
			values[i] = math.Round(2 * values[i])
		}
		trend, ok := MannKendall(values)
		return ok && trend.P < 0.05
	})
	assert.InDelta(t, 0.05, seen, 0.011)
}

// Values that follow each other show trends that are none. Allowing for it must
// bring them near the 5 in a hundred, and leave a real trend in sight.
func TestCorrelatedValuesShowFewerTrends(t *testing.T) {
	const n, rho = 120, 0.5
	times := make([]float64, n)
	for i := range times {
		times[i] = float64(i)
	}
	test := func(perStep float64, allow bool) float64 {
		return share(600, func(random *rand.Rand) bool {
			values := following(random, n, rho)
			for i := range values {
				values[i] += perStep * float64(i)
			}
			trend, ok := MannKendall(values)
			if allow {
				estimated, _ := Autocorrelation(residuals(times, values))
				trend = trend.Correlated(estimated)
			}
			return ok && trend.P < 0.05
		})
	}
	assert.Greater(t, test(0, false), 0.2)
	assert.Less(t, test(0, true), 0.09)
	assert.Greater(t, test(0.03, true), 0.95)
}

func TestStepIsFoundAndSized(t *testing.T) {
	// A step of three standard deviations: found within two values and sized
	// within its interval. The date is chosen to fit, so the interval holds the
	// truth a little less often than 95 %.
	found := share(500, func(random *rand.Rand) bool {
		values := noise(random, 60)
		for i := 40; i < 60; i++ {
			values[i] -= 3
		}
		step, ok := FindStep(values)
		return ok && step.P < 0.01 && abs(step.Index-40) <= 2 && step.Change.Low <= -3 && -3 <= step.Change.High
	})
	assert.Greater(t, found, 0.9)

	seen := share(1000, func(random *rand.Rand) bool {
		step, ok := FindStep(noise(random, 60))
		return ok && step.P < 0.05
	})
	assert.Less(t, seen, 0.05)
}

func abs(i int) int { return max(i, -i) }

// The mean of n values that follow each other scatters like that of
// EffectiveSize independent ones.
func TestEffectiveSize(t *testing.T) {
	const n, rho, trials = 400, 0.6, 4000
	random := rand.New(rand.NewPCG(5, 5))
	squares, rhos := 0.0, 0.0
	for range trials {
		values := following(random, n, rho)
		sum := 0.0
		for _, v := range values {
			sum += v
		}
		squares += (sum / n) * (sum / n)
		estimated, ok := Autocorrelation(values)
		require.True(t, ok)
		rhos += estimated
	}
	assert.InEpsilon(t, 1/EffectiveSize(n, rho), squares/trials, 0.07)
	assert.InDelta(t, rho, rhos/trials, 0.01)
	assert.Equal(t, 400.0, EffectiveSize(n, -0.3), "no more than there are")
	assert.Equal(t, 1.0, EffectiveSize(n, 1))
}

func TestDeviationOfNormalNoise(t *testing.T) {
	values := noise(rand.New(rand.NewPCG(3, 3)), 40_000)
	for i := range values {
		values[i] = 100 + 7*values[i]
		if i%10 == 0 {
			values[i] = 1e6 // a tenth is wild
		}
	}
	deviation, ok := Deviation(values)
	require.True(t, ok)
	// The middle of nine tenths is at quantile 0.5/0.9; so is the spread.
	assert.InDelta(t, 7, deviation, 1.2)
	median, ok := Median(values)
	require.True(t, ok)
	assert.InDelta(t, 100+7*0.1397, median, 0.2) // 0.1397 is the normal quantile of 0.5556
}

// Set by hand: 1 1 2 2 4 6 9 has the median 2 and the distances 1 1 0 0 2 4 7.
func TestMedianAndDeviationByHand(t *testing.T) {
	values := []float64{9, 1, 2, nan, 6, 1, math.Inf(1), 4, 2}
	median, ok := Median(values)
	require.True(t, ok)
	assert.Equal(t, 2.0, median)
	deviation, ok := Deviation(values)
	require.True(t, ok)
	assert.InDelta(t, 1.4826*1, deviation, 0.0001)
	even, ok := Median([]float64{4, 1, 3, 10})
	require.True(t, ok)
	assert.Equal(t, 3.5, even)
}

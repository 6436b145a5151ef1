package robust

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var nan = math.NaN()

func TestTooLittleIsSaid(t *testing.T) {
	few := []float64{1, 2, 4, 8, 16, 32, 64, 128, 256}
	for n := range few {
		_, ok := TheilSen(few[:n], few[:n])
		assert.Equal(t, n >= 5, ok, "line through %d points", n)
		_, ok = MannKendall(few[:n])
		assert.False(t, ok)
		_, ok = FindStep(few[:n])
		assert.False(t, ok)
		_, ok = Autocorrelation(few[:n])
		assert.Equal(t, n >= 4, ok)
		_, ok = Median(few[:n])
		assert.Equal(t, n >= 1, ok)
		_, ok = Deviation(few[:n])
		assert.Equal(t, n >= 3, ok)
	}
	_, ok := MannKendall(append(few, 512))
	assert.True(t, ok, "ten are enough")
}

func TestNoLineThroughOneX(t *testing.T) {
	x, y := make([]float64, 20), noise(rand.New(rand.NewPCG(1, 1)), 20)
	_, ok := TheilSen(x, y)
	assert.False(t, ok)
}

// A step so near the end that a side has too few values cannot be sized.
func TestStepAtTheEdgeIsNotSized(t *testing.T) {
	values := make([]float64, 12)
	values[11] = 5
	_, ok := FindStep(values)
	assert.False(t, ok)
}

func TestEqualValues(t *testing.T) {
	same := slices.Repeat([]float64{1200}, 30)
	times := make([]float64, 30)
	for i := range times {
		times[i] = float64(i)
	}
	line, ok := TheilSen(times, same)
	require.True(t, ok)
	assert.Equal(t, Estimate{}, line.Slope)
	assert.Equal(t, 1200.0, line.Intercept)
	trend, ok := MannKendall(same)
	require.True(t, ok)
	assert.Equal(t, Trend{P: 1, N: 30}, trend)
	_, ok = Autocorrelation(same)
	assert.False(t, ok)
}

// What is not known changes nothing but the dates.
func TestUnknownValuesAreLeftOut(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	x, y := noise(random, 50), noise(random, 50)
	for i := 30; i < 50; i++ {
		y[i] += 4
	}
	var holedX, holedY, dated []float64
	var at []int // where each value stands among the holes
	for i := range x {
		if i%3 == 0 {
			holedX, holedY = append(holedX, nan, x[i], 7), append(holedY, y[i], math.Inf(-1), nan)
			dated = append(dated, nan, math.Inf(1))
		}
		holedX, holedY = append(holedX, x[i]), append(holedY, y[i])
		at = append(at, len(dated))
		dated = append(dated, y[i])
	}
	line, _ := TheilSen(x, y)
	holedLine, _ := TheilSen(holedX, holedY)
	assert.Equal(t, line, holedLine)
	trend, _ := MannKendall(y)
	holedTrend, _ := MannKendall(dated)
	assert.Equal(t, trend, holedTrend)
	step, ok := FindStep(y)
	require.True(t, ok)
	holedStep, ok := FindStep(dated)
	require.True(t, ok)
	assert.Equal(t, at[step.Index], holedStep.Index)
	step.Index = holedStep.Index
	assert.Equal(t, step, holedStep)
}

// Closing a gap would make strangers neighbours: of a slow wave with every
// second value missing no neighbours are left, and with every third missing the
// estimate stays near that of the whole.
func TestAutocorrelationMindsGaps(t *testing.T) {
	wave, halves, thirds := make([]float64, 600), make([]float64, 600), make([]float64, 600)
	for i := range wave {
		wave[i] = math.Sin(float64(i) / 3)
		halves[i], thirds[i] = wave[i], wave[i]
		if i%2 == 1 {
			halves[i] = nan
		}
		if i%3 == 0 {
			thirds[i] = nan
		}
	}
	whole, ok := Autocorrelation(wave)
	require.True(t, ok)
	gapped, ok := Autocorrelation(thirds)
	require.True(t, ok)
	assert.InDelta(t, math.Cos(1.0/3), whole, 0.01)
	assert.InDelta(t, whole, gapped, 0.01)
	_, ok = Autocorrelation(halves)
	assert.False(t, ok)
}

func TestNothingGivenIsWrittenTo(t *testing.T) {
	x, y := noise(rand.New(rand.NewPCG(4, 4)), 60), noise(rand.New(rand.NewPCG(5, 5)), 60)
	keptX, keptY := slices.Clone(x), slices.Clone(y)
	TheilSen(x, y)
	MannKendall(y)
	FindStep(y)
	Autocorrelation(y)
	Median(y)
	Deviation(y)
	assert.Equal(t, keptX, x)
	assert.Equal(t, keptY, y)
}

func TestUnequalLengthsPanic(t *testing.T) {
	assert.Panics(t, func() { TheilSen([]float64{1, 2}, []float64{1}) })
}

func TestNthIsWhatSortingGives(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	shapes := map[string]func(i, n int) float64{
		"noise":      func(int, int) float64 { return random.NormFloat64() },
		"few values": func(int, int) float64 { return float64(random.IntN(3)) },
		"equal":      func(int, int) float64 { return 7 },
		"rising":     func(i, _ int) float64 { return float64(i) },
		"falling":    func(i, _ int) float64 { return float64(-i) },
		"roof":       func(i, n int) float64 { return float64(min(i, n-i)) },
	}
	for name, shape := range shapes {
		for n := 1; n < 40; n++ {
			values := make([]float64, n)
			for i := range values {
				values[i] = shape(i, n)
			}
			sorted := slices.Sorted(slices.Values(values))
			for _, k := range random.Perm(n) {
				require.Equal(t, sorted[k], nth(values, k), "%s of %d", name, n)
			}
			assert.Equal(t, sorted, slices.Sorted(slices.Values(values)), "%s keeps its values", name)
		}
	}
}

// Many points are thinned evenly over x, and the interval owns up to the smaller
// number.
func TestManyPointsAreThinned(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	const n = 10_000
	x, y := noise(random, n), noise(random, n)
	for i := range y {
		y[i] += 2*x[i] + 1
	}
	line, ok := TheilSen(x, y)
	require.True(t, ok)
	assert.LessOrEqual(t, line.N, mostPoints)
	assert.Greater(t, line.N, mostPoints/2)
	// Sen's slope has nearly the standard error of least squares, 1/sqrt(n).
	halfWidth := (line.Slope.High - line.Slope.Low) / 2
	assert.InEpsilon(t, 1.96*math.Sqrt(math.Pi/3/float64(line.N)), halfWidth, 0.1)
	assert.InDelta(t, 2, line.Slope.Value, 2*halfWidth)
	assert.InDelta(t, 1, line.Intercept, 0.1)
}

func BenchmarkTheilSen(b *testing.B) {
	random := rand.New(rand.NewPCG(7, 7))
	for _, n := range []int{60, 365, mostPoints} {
		x, y := noise(random, n), noise(random, n)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			for b.Loop() {
				TheilSen(x, y)
			}
		})
	}
}

func BenchmarkFindStep(b *testing.B) {
	values := noise(rand.New(rand.NewPCG(8, 8)), 365)
	for b.Loop() {
		FindStep(values)
	}
}

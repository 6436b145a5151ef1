package chart

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestScaleTicks(t *testing.T) {
	check := func(s scale, want []float64, wantDigits int) {
		t.Helper()
		values, digits := s.ticks(26)
		assert.InDeltaSlice(t, want, values, 1e-9)
		assert.Equal(t, wantDigits, digits)
	}
	check(scale{-6, 55, 0, 200}, []float64{0, 10, 20, 30, 40, 50}, 0)
	check(scale{0, 1.2, 0, 100}, []float64{0, 0.5, 1}, 1)
	check(scale{20.31, 20.47, 0, 110}, []float64{20.35, 20.4, 20.45}, 2)
	check(scale{0, 1300, 0, 60}, []float64{0, 1000}, 0)
}

// Whatever the scale, ticks lie on it, are 1, 2 or 5 times a power of ten
// apart, and never closer than asked.
func TestScaleTicksAreRoundAndApart(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 2000 {
		low := r.NormFloat64() * math.Pow(10, float64(r.IntN(7)-2))
		s := scale{low, low + math.Pow(10, 7*r.Float64()-2), 0, 30 + 400*r.Float64()}
		values, digits := s.ticks(26)
		for i, v := range values {
			y := s.y(v)
			require.True(t, y >= -1e-6 && y <= s.bottom+1e-6)
			if i == 0 {
				continue
			}
			require.GreaterOrEqual(t, s.y(values[i-1])-y, 26-1e-6)
			step := v - values[i-1]
			lead := step / math.Pow(10, math.Floor(math.Log10(step*(1+1e-9))))
			require.True(t, slices.ContainsFunc([]float64{1, 2, 5}, func(m float64) bool { return math.Abs(lead-m) < 1e-4 }), "step %g", step)
			require.NotEqual(t, number(values[i-1], digits), number(v, digits))
		}
	}
}

func TestNumber(t *testing.T) {
	assert.Equal(t, "\u22125.3", number(-5.3, 1))
	assert.Equal(t, "0.0", number(-0.04, 1), "no negative zero")
	assert.Equal(t, "0", number(math.Copysign(0, -1), 0))
	assert.Equal(t, "1240", number(1239.7, 0))
}

func TestSpread(t *testing.T) {
	assert.Equal(t, []float64{10, 50}, spread([]float64{10, 50}, 14, 0, 100), "labels with room stay")
	assert.Equal(t, []float64{43, 57}, spread([]float64{50, 50}, 14, 0, 100), "two at one place share the shift")
	assert.Equal(t, []float64{0, 14, 28}, spread([]float64{-20, -10, 0}, 14, 0, 100))
	assert.Equal(t, []float64{72, 86, 100}, spread([]float64{99, 99, 120}, 14, 0, 100))
}

func TestSpreadKeepsLabelsApartInOrderAndWithin(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for range 2000 {
		n := 1 + r.IntN(8)
		wanted := make([]float64, n)
		for i := range wanted {
			wanted[i] = r.Float64()*200 - 30
		}
		slices.Sort(wanted)
		places := spread(wanted, 14, 5, 5+14*8)
		require.Len(t, places, n)
		for i, y := range places {
			require.True(t, y >= 5-1e-9 && y <= 5+14*8+1e-9, "%v of %v", places, wanted)
			if i > 0 {
				require.GreaterOrEqual(t, y-places[i-1], 14-1e-6, "%v of %v", places, wanted)
			}
		}
	}
}

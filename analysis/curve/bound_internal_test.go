package curve

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNoCoefficientsLeaveLess than the bound: least absolute residuals pass
// through as many points as there are coefficients, so all pairs of points are
// tried. The bound must be worth its name as well: near the least.
func TestNoCoefficientsLeaveLess(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 3))
	for range 50 {
		n := 40
		x, y, weight := make([]float64, n), make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], weight[i] = 10*random.NormFloat64(), 0.2+random.Float64()
			y[i] = 35 - 0.6*x[i] + math.Pow(random.NormFloat64(), 3)
		}
		r, ok := regress([][]float64{x}, y, weight, math.Inf(1))
		require.True(t, ok)
		least := leastOfPairs(x, y, weight)
		boundK := r.leastK(r.residualK)
		assert.LessOrEqual(t, boundK, least)
		assert.Greater(t, boundK, 0.8*least)
		_, ok = regress([][]float64{x}, y, weight, 1.000001*r.absoluteK)
		assert.True(t, ok, "better than the limit")
		_, ok = regress([][]float64{x}, y, weight, 0.7*least)
		assert.False(t, ok, "far from the limit")
	}
}

func leastOfPairs(x, y, weight []float64) float64 {
	least := math.Inf(1)
	for i := range x {
		for j := range i {
			slope := (y[i] - y[j]) / (x[i] - x[j])
			sum, total := 0.0, 0.0
			for k, w := range weight {
				sum, total = sum+w*math.Abs(y[k]-y[i]-slope*(x[k]-x[i])), total+w
			}
			least = min(least, sum/total)
		}
	}
	return least
}

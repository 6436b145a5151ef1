package metrology

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSplit: the worked example's meter at 1200 l/h and 5 K by hand. Limits in
// proportion: flow 2.0417 %, pair 0.5 %, calculator 0.5 %; constant: pair 3 % and
// calculator 1 % of 3 K, 0.09 and 0.03 K; each rectangular, k = 2. At 5 K the
// constant part is 2 % more, and both together are near the 3.77 % of all.
func TestSplit(t *testing.T) {
	p := Period{Sums: sumsOf([]interval{{1200, 35, 30}}), HeatMeter: class2}
	scalePct, differenceK, ok := p.Split()
	require.True(t, ok)
	k := 2 / math.Sqrt(3)
	assert.InDelta(t, k*math.Sqrt(2.0417*2.0417+0.5*0.5+0.5*0.5), scalePct, 0.001)
	assert.InDelta(t, k*math.Sqrt(0.09*0.09+0.03*0.03), differenceK, 1e-9)
	whole, ok := p.Heat()
	require.True(t, ok)
	assert.InDelta(t, whole.Pct, math.Hypot(scalePct, 100*differenceK/5), 0.5)

	p.PairErrorK, p.OffsetK = 0.2, 0.1
	_, differenceK, _ = p.Split()
	assert.InDelta(t, math.Sqrt(0.2*0.2+0.1*0.1+math.Pow(k*0.03, 2)), differenceK, 1e-9)
}

func TestSplitNeedsWater(t *testing.T) {
	_, _, ok := (&Period{HeatMeter: class2}).Split()
	assert.False(t, ok)
	var s HeatSums
	s.Count(1e6, math.NaN(), math.NaN(), intervalS)
	_, _, ok = (&Period{Sums: s, HeatMeter: class2}).Split()
	assert.False(t, ok, "heat of unknown flow and difference")
}

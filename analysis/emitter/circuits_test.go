package emitter_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/emitter"
)

// TestDivideByMixing: energy balance of the tee. 600 l/h at 28 °C and 400 l/h at
// 34 °C make 1000 l/h at 30.4 °C.
func TestDivideByMixing(t *testing.T) {
	d, err := emitter.Divide([]emitter.Returns{{CircuitC: []float64{28, 34}, MixedC: 30.4}}, 0.3)
	require.NoError(t, err)
	assert.InDelta(t, 0.6, d.FlowShare[0].Value, 1e-9)
	assert.InDelta(t, 0.4, d.FlowShare[1].Value, 1e-9)
	// By hand: the share is (34 - mixed)/(34 - 28); each sensor off by 0.3 K moves
	// it by 0.3/6 times its weight, 1, 0.6 and 0.4: together 0.0616.
	assert.InDelta(t, 0.0616, d.FlowShare[0].Value-d.FlowShare[0].Low, 0.003)
	shares := d.HeatShares(38, []float64{28, 34}) // 600·10 and 400·4
	assert.InDelta(t, 6000.0/7600, shares[0], 1e-9)
	assert.InDelta(t, 1600.0/7600, shares[1], 1e-9)
}

func TestDivideKnowsWhatItCannotTell(t *testing.T) {
	refused := func(says string, times ...emitter.Returns) {
		t.Helper()
		_, err := emitter.Divide(times, 0.3)
		assert.ErrorContains(t, err, says)
	}
	refused("no return")
	refused("at least two", emitter.Returns{CircuitC: []float64{30}, MixedC: 30})
	refused("at 2 times", emitter.Returns{CircuitC: []float64{28, 30, 34}, MixedC: 30})
	refused("equal", emitter.Returns{CircuitC: []float64{30, 30}, MixedC: 30})
	refused("too little", emitter.Returns{CircuitC: []float64{30, 31}, MixedC: 30.5})
	same := emitter.Returns{CircuitC: []float64{28, 30, 34}, MixedC: 30}
	refused("same way", same, same, same)
}

// TestDivideCoversTheTruth draws circuits and sensors that are off by a normal
// error of half the 95 % doubt: the interval must hold the true share 19 times
// in 20, and not always.
func TestDivideCoversTheTruth(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	held, asked, refused := 0, 0, 0
	for range 2000 {
		circuits := 2 + random.IntN(3)
		truth, sum := make([]float64, circuits), 0.0
		for i := range truth {
			truth[i] = 0.2 + random.Float64()
			sum += truth[i]
		}
		offK := make([]float64, circuits+1)
		for i := range offK {
			offK[i] = 0.15 * random.NormFloat64()
		}
		var times []emitter.Returns
		for range 1 + 12*(circuits-2) {
			at := emitter.Returns{CircuitC: make([]float64, circuits), MixedC: offK[circuits]}
			for i := range truth {
				trueC := 30 + 6*random.NormFloat64()
				at.CircuitC[i] = trueC + offK[i]
				at.MixedC += truth[i] / sum * trueC
			}
			times = append(times, at)
		}
		d, err := emitter.Divide(times, 0.3)
		if err != nil {
			refused++
			continue
		}
		for i, share := range d.FlowShare {
			asked++
			if share.Low <= truth[i]/sum && truth[i]/sum <= share.High {
				held++
			}
		}
	}
	t.Logf("held %d of %d, refused %d", held, asked, refused)
	assert.InDelta(t, 0.95, float64(held)/float64(asked), 0.05)
	assert.Less(t, held, asked)
	assert.Less(t, refused, 500)
}

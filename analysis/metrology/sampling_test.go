package metrology

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// White noise of standard deviation s in n readings of length d has a sum of
// variance n·s²·d².
func TestSamplingVarianceOfWhiteNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	const n, sigmaW, stepS = 100_000, 50.0, 60.0
	powerW, durS := make([]float64, n), make([]float64, n)
	for i := range powerW {
		powerW[i], durS[i] = 5000+sigmaW*random.NormFloat64(), stepS
	}
	assert.InEpsilon(t, n*sigmaW*sigmaW*stepS*stepS, SamplingVarianceJSq(powerW, durS), 0.02)
}

// A plant of 6 kW that switches at random moments is read each minute, and each
// reading holds until the next. Its true energy is known; the estimate must not
// be less than what the readings really miss, and not absurdly more: six times.
func TestSamplingVarianceOfSwitching(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	const onW, stepS, days = 6000.0, 60.0, 400
	var missed, estimated float64
	for range days {
		trueJ, powerW, durS := 0.0, make([]float64, 1440), make([]float64, 1440)
		for startS := 0.0; startS < 80_000; {
			lengthS := 300 + 1500*random.Float64()
			trueJ += onW * lengthS
			for i := range powerW {
				if at := float64(i) * stepS; at >= startS && at < startS+lengthS {
					powerW[i] = onW
				}
			}
			startS += lengthS + 300 + 1500*random.Float64()
		}
		sampledJ := 0.0
		for i := range powerW {
			durS[i] = stepS
			sampledJ += powerW[i] * stepS
		}
		missed += (sampledJ - trueJ) * (sampledJ - trueJ)
		estimated += SamplingVarianceJSq(powerW, durS)
	}
	assert.InEpsilon(t, 6, estimated/missed, 0.25)
}

func TestSamplingVarianceLeavesOutWhatIsNotKnown(t *testing.T) {
	durS := []float64{10, 10, 10, 10, 10}
	assert.Zero(t, SamplingVarianceJSq([]float64{1, nan, 5, 5, 9}, durS))
	assert.InDelta(t, 20*20, SamplingVarianceJSq([]float64{1, 3, nan, nan, 9}, durS), 1e-12)
	assert.Panics(t, func() { SamplingVarianceJSq(durS, nil) })
}

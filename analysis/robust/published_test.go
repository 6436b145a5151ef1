package robust

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pettittTable1 is table 1 of Pettitt, Applied Statistics 28 (1979) 126-135, as
// the help page of the R package wq lists it.
var pettittTable1 = []float64{
	-1.05, 0.96, 1.22, 0.58, -0.98, -0.03, -1.54, -0.71, -0.35, 0.66, 0.44, 0.91, -0.02, -1.42, 1.26, -1.02, -0.81, 1.66, 1.05, 0.97,
	2.14, 1.22, -0.24, 1.60, 0.72, -0.12, 0.44, 0.03, 0.66, 0.56, 1.37, 1.66, 0.10, 0.80, 1.29, 0.49, -0.07, 1.18, 3.29, 1.84,
}

// The same page gives Pettitt's own results: K = 232, p = 0.0146, the last value
// before the change is the 17th.
func TestStepAgainstPettitt(t *testing.T) {
	split, score := pettitt(pettittTable1)
	assert.Equal(t, 17, split)
	assert.Equal(t, 232.0, score)
	step, ok := FindStep(pettittTable1)
	require.True(t, ok)
	assert.Equal(t, 17, step.Index)
	assert.InDelta(t, 0.0146, step.P, 0.00005)
	assert.Equal(t, 40, step.N)
}

// Permeability at term and at 12 to 26 weeks, Hollander and Wolfe 1973, page 69.
// R's coin package prints a difference of -0.305 and a 95 % interval from -0.76
// to 0.15 (r-help, 1 October 2006).
func TestShiftAgainstHollanderAndWolfe(t *testing.T) {
	term := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	early := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	change, ok := shift(term, early)
	require.True(t, ok)
	assert.InDelta(t, -0.305, change.Value, 1e-12)
	assert.InDelta(t, -0.76, change.Low, 1e-12)
	assert.InDelta(t, 0.15, change.High, 1e-12)

	// A line between two places is the same question: ties in x must lead to
	// the same interval.
	places := make([]float64, len(term)+len(early))
	for i := range early {
		places[len(term)+i] = 1
	}
	line, ok := TheilSen(places, slices.Concat(term, early))
	require.True(t, ok)
	assert.Equal(t, change, line.Slope)
}

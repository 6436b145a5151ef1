package curve

import (
	"math"
	"slices"
)

const (
	// fewestAtLimit hours and so much outdoor temperature make a plateau, where
	// it takes a fifth off the residuals.
	fewestAtLimit, plateauSpanK = 10, 2
	plateauGain                 = 0.8
)

// limits finds where the flow stays level at the mild or the cold end: a curve
// that is clipped is a curve of the clipped outdoor temperature. It returns the
// levels, nil where there are none, and the samples between them.
func (c *candidate) limits() (lowC, highC *float64, rest []sample) {
	sorted := slices.Sorted(slices.Values(c.outdoorC))
	n := len(sorted)
	best, bestColdC, bestMildC := c.r.absoluteK*plateauGain, math.Inf(-1), math.Inf(1)
	at := func(share float64) float64 { return sorted[int(share*float64(n-1))] }
	const twentieths = 20
	size := make([]float64, n)
	for cold := range twentieths/2 + 1 {
		for mild := twentieths; mild >= cold+6; mild-- {
			coldC, mildC := at(float64(cold)/twentieths), at(float64(mild)/twentieths)
			if cold > 0 && !plateau(sorted, math.Inf(-1), coldC) || mild < twentieths && !plateau(sorted, mildC, math.Inf(1)) || cold == 0 && mild == twentieths {
				continue
			}
			if clipped, ok := c.clipped(coldC, mildC, best, size); ok && clipped.r.absoluteK < best {
				// A second plateau has to earn its place like the first.
				best, bestColdC, bestMildC = clipped.r.absoluteK*0.95, coldC, mildC
				lowC, highC = nil, nil
				if mild < twentieths {
					lowC = new(clipped.level(mildC))
				}
				if cold > 0 {
					highC = new(clipped.level(coldC))
				}
			}
		}
	}
	if lowC == nil && highC == nil {
		return nil, nil, nil
	}
	for i, one := range c.used {
		if c.outdoorC[i] > bestColdC && c.outdoorC[i] < bestMildC {
			rest = append(rest, one)
		}
	}
	return lowC, highC, rest
}

// plateau says whether enough hours lie between two outdoor temperatures, over
// enough of them.
func plateau(sorted []float64, fromC, toC float64) bool {
	first, _ := slices.BinarySearch(sorted, fromC)
	last, _ := slices.BinarySearch(sorted, toC)
	return last-first >= fewestAtLimit && sorted[last-1]-sorted[first] >= plateauSpanK
}

// clipped is the fit with the outdoor temperature held between two; false where it
// is sure not to be below a limit. It works in size.
func (c *candidate) clipped(coldC, mildC, belowK float64, size []float64) (*candidate, bool) {
	held := *c
	copy(size, c.r.columns[0])
	atCold, atMild := c.shape.at(coldC), c.shape.at(mildC)
	for i, outdoorC := range c.outdoorC {
		switch {
		case outdoorC < coldC:
			size[i] = atCold
		case outdoorC > mildC:
			size[i] = atMild
		}
	}
	return &held, held.fitTo(size, belowK)
}

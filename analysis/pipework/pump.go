package pipework

import "sort"

// PumpPoint is one point of a pump curve.
type PumpPoint struct {
	FlowLPH float64 `json:"flow_lph"`
	HeadKPa float64 `json:"head_kpa"`
}

// PumpCurve is the head the pump has left for the pipework, by rising flow; the
// head falls or stays. Between its points it runs straight, which lies below a
// pump's bulging curve and so on the safe side.
type PumpCurve []PumpPoint

// EndLPH returns the flow at which the curve ends.
func (c PumpCurve) EndLPH() float64 { return c[len(c)-1].FlowLPH }

// HeadKPa returns the head at a flow. Below the first point it is that of the
// first point, which the pump has at least. Beyond the last the curve is not
// known, and the head returned is the last point's, which it has at most.
func (c PumpCurve) HeadKPa(flowLPH float64) float64 {
	i := sort.Search(len(c), func(i int) bool { return c[i].FlowLPH >= flowLPH })
	switch i {
	case 0:
		return c[0].HeadKPa
	case len(c):
		return c[i-1].HeadKPa
	}
	a, b := c[i-1], c[i]
	return a.HeadKPa + (b.HeadKPa-a.HeadKPa)*(flowLPH-a.FlowLPH)/(b.FlowLPH-a.FlowLPH)
}

// meet returns the head at which the pump drives a flow of conductance x head +
// offset.
func (c PumpCurve) meet(conductanceLPHPerKPa, offsetLPH float64) (headKPa float64) {
	low, high := c[len(c)-1].HeadKPa, c[0].HeadKPa
	for range bisections {
		if middle := (low + high) / 2; c.HeadKPa(conductanceLPHPerKPa*middle+offsetLPH) >= middle {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

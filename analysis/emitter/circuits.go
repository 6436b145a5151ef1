package emitter

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/robust"
)

// Returns are return temperatures at one time: of each circuit, always in the
// same order, and of the water after they have mixed.
type Returns struct {
	CircuitC []float64
	MixedC   float64
}

// Division is how the flow divides between circuits.
type Division struct {
	FlowShare []robust.Estimate // of the whole; an end may lie outside 0 to 1
	Times     int               // that it stands on
	RestK     float64           // root mean square of what mixing does not explain
}

// SensorDoubtK is how far strapped-on sensors on neighbouring pipes usually
// differ at the same temperature, 95 % (common practice, no source).
const SensorDoubtK = 0.3

// Divide finds the flow shares of two or more circuits from how their returns
// mix: each litre brings its temperature, so
//
//	mixed = sum of share·circuit, sum of share = 1
//
// Two circuits need one time, more need as many times less one at least, at
// which they differ otherwise; least squares takes all that are given. Circuits
// must carry the same fluid, no heat may be lost between the sensors, and the
// shares must have been the same throughout. sensorDoubtK is the 95 % error of
// each sensor, which stays the same from time to time.
//
// The error says why shares cannot be told.
func Divide(times []Returns, sensorDoubtK float64) (Division, error) {
	if len(times) == 0 {
		return Division{}, errors.New("no return temperatures")
	}
	circuits := len(times[0].CircuitC)
	switch {
	case circuits < 2:
		return Division{}, errors.New("return temperatures of at least two circuits are needed")
	case len(times) < circuits-1:
		return Division{}, fmt.Errorf("%d circuits need readings at %d times, there are %d", circuits, circuits-1, len(times))
	}
	for _, at := range times {
		if len(at.CircuitC) != circuits {
			panic("emitter: times with different circuits")
		}
	}
	shares, err := solve(times)
	if err != nil {
		return Division{}, err
	}
	division := Division{Times: len(times), RestK: restK(times, shares)}
	deviations, err := sensorDeviations(times, shares, sensorDoubtK)
	if err != nil {
		return Division{}, err
	}
	for i, share := range shares {
		if deviations[i] > vagueShare {
			return Division{}, fmt.Errorf("the returns differ too little for sensors good to %.1f K: a share could be off by %.0f %% of the flow", sensorDoubtK, 100*deviations[i])
		}
		division.FlowShare = append(division.FlowShare, robust.Estimate{Value: share, Low: share - deviations[i], High: share + deviations[i]})
	}
	return division, nil
}

// vagueShare of the flow is so wide an interval, to each side, that a share says
// nothing.
const vagueShare = 0.25

// solve takes the last circuit as the one from which the others differ, so that
// the shares add up by themselves.
func solve(times []Returns) ([]float64, error) {
	free := len(times[0].CircuitC) - 1
	x, y := mat.NewDense(len(times), free, nil), mat.NewVecDense(len(times), nil)
	for row, at := range times {
		lastC := at.CircuitC[free]
		for c := range free {
			x.Set(row, c, at.CircuitC[c]-lastC)
		}
		y.SetVec(row, at.MixedC-lastC)
	}
	var solution mat.VecDense
	if err := solution.SolveVec(x, y); err != nil {
		return nil, errors.New("the returns are equal, or always differ in the same way: their shares cannot be told")
	}
	shares := make([]float64, free+1)
	shares[free] = 1
	for c := range free {
		shares[c] = solution.AtVec(c)
		shares[free] -= shares[c]
	}
	return shares, nil
}

// sensorDeviations returns how far each share moves, all in all, when one
// sensor after the other is off, and by what mixing does not explain.
func sensorDeviations(times []Returns, shares []float64, sensorDoubtK float64) ([]float64, error) {
	squares := make([]float64, len(shares))
	offK := max(sensorDoubtK, 2*restK(times, shares))
	for sensor := range len(shares) + 1 {
		moved, err := solve(shifted(times, sensor, offK))
		if err != nil {
			return nil, err
		}
		for i := range shares {
			squares[i] += (moved[i] - shares[i]) * (moved[i] - shares[i])
		}
	}
	for i := range squares {
		squares[i] = math.Sqrt(squares[i])
	}
	return squares, nil
}

// shifted are the readings with one sensor off; the one after the circuits' is
// that of the mixed water.
func shifted(times []Returns, sensor int, offK float64) []Returns {
	moved := make([]Returns, len(times))
	for i, at := range times {
		moved[i] = Returns{CircuitC: append([]float64(nil), at.CircuitC...), MixedC: at.MixedC}
		if sensor == len(at.CircuitC) {
			moved[i].MixedC += offK
		} else {
			moved[i].CircuitC[sensor] += offK
		}
	}
	return moved
}

func restK(times []Returns, shares []float64) float64 {
	sum := 0.0
	for _, at := range times {
		rest := at.MixedC
		for i, share := range shares {
			rest -= share * at.CircuitC[i]
		}
		sum += rest * rest
	}
	return math.Sqrt(sum / float64(len(times)))
}

// HeatShares are the circuits' shares of the heat at a flow temperature and
// mean returns, from their flow shares.
func (d Division) HeatShares(flowC float64, returnC []float64) []float64 {
	shares, total := make([]float64, len(d.FlowShare)), 0.0
	for i, share := range d.FlowShare {
		shares[i] = share.Value * (flowC - returnC[i])
		total += shares[i]
	}
	for i := range shares {
		shares[i] /= total
	}
	return shares
}

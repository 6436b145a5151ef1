package metrology

import (
	"fmt"
	"math"
)

// HeatClass is the accuracy class on the plate of a heat meter.
type HeatClass int

// The classes of EN 1434-1, and what stands where there is none.
const (
	// HeatUnclassified is heat from a flow sensor and a pair of sensors that
	// never were a heat meter: clamped on, or the heat pump's own.
	HeatUnclassified HeatClass = iota - 1
	// HeatClassNotGiven is a heat meter of unknown class; class 2 is assumed,
	// the usual one in houses.
	HeatClassNotGiven
	HeatClass1
	HeatClass2
	HeatClass3
)

// What is assumed of a meter where the record is silent (common practice, no
// source).
const (
	assumedClass              = HeatClass2
	assumedPermanentFlowLPH   = 2500
	assumedMinimumDifferenceK = 3
	unclassifiedFlowPct       = 5
	unclassifiedSensorC       = 40
)

// HeatMeter is what the plate says. A value that was not given is 0, so the
// zero HeatMeter is one of which nothing is known.
type HeatMeter struct {
	Class              HeatClass
	PermanentFlowLPH   float64 // qp
	MinimumDifferenceK float64 // dTmin: 3, 5 or 10 K in the directive
}

// heatLimits are the coefficients of a class: each limit is a constant part in
// percent plus one that grows as flow or difference fall.
type heatLimits struct {
	flowPct, flowGrowthPct, flowCapPct float64 // growth by qp/q
	pairPct, pairK                     float64
	calculatorPct, calculatorK         float64
}

// flowOfClass: class 2 as quoted from EN 1434-1, class 1 and 3 from memory. The
// caps are met at qp/q of 250, 150 and 40.
var flowOfClass = map[HeatClass]heatLimits{
	HeatClass1: {flowPct: 1, flowGrowthPct: 0.01, flowCapPct: 3.5},
	HeatClass2: {flowPct: 2, flowGrowthPct: 0.02, flowCapPct: 5},
	HeatClass3: {flowPct: 3, flowGrowthPct: 0.05, flowCapPct: 5},
}

func (m HeatMeter) limits() heatLimits {
	if m.Class == HeatUnclassified {
		// Each sensor lies anywhere within its own tolerance; the root of two
		// makes one limit of both that has the same standard deviation. How
		// well a clamped sensor touches the pipe is not in it.
		pairK := math.Sqrt2 * ToleranceK(SensorClassB, unclassifiedSensorC)
		return heatLimits{flowPct: unclassifiedFlowPct, flowCapPct: unclassifiedFlowPct, pairK: pairK}
	}
	l, known := flowOfClass[m.Class]
	if !known {
		l = flowOfClass[assumedClass]
	}
	// Et = 0.5 + 3 dTmin/dT and Ec = 0.5 + dTmin/dT, in percent: a constant
	// share and a constant error of the difference.
	l.pairPct, l.pairK = 0.5, 0.03*m.minimumDifferenceK()
	l.calculatorPct, l.calculatorK = 0.5, 0.01*m.minimumDifferenceK()
	return l
}

// LimitsAt returns the limits of flow sensor (Ef), sensor pair (Et) and
// calculator (Ec) at one working point, in this order. Below the minimum
// difference the class promises nothing; the formulae are carried on, up to
// infinity at 0 K.
func (m HeatMeter) LimitsAt(flowLPH, differenceK float64) Limits {
	l := m.limits()
	flowRatio := math.Inf(1)
	if flowLPH > 0 {
		flowRatio = m.permanentFlowLPH() / flowLPH
	}
	flowPct := l.flowPct
	if l.flowGrowthPct > 0 {
		flowPct = min(l.flowPct+l.flowGrowthPct*flowRatio, l.flowCapPct)
	}
	return Limits{
		flowPct,
		l.pairPct + PairErrorPct(l.pairK, differenceK),
		l.calculatorPct + PairErrorPct(l.calculatorK, differenceK),
	}
}

// PairErrorPct is the error of heat in percent that an error of the difference
// of flow and return makes at a difference: 0.2 K at 5 K are 4 %.
func PairErrorPct(pairErrorK, differenceK float64) float64 {
	if pairErrorK == 0 {
		return 0
	}
	return 100 * pairErrorK / math.Abs(differenceK)
}

// Assumed says in words what was taken for granted because the plate was not
// given. Nothing is assumed of the flow and difference of unclassified sensors.
func (m HeatMeter) Assumed() []string {
	if m.Class == HeatUnclassified {
		return []string{fmt.Sprintf("no heat meter of a class: flow within %d %%, two unpaired sensors of IEC 60751 class B", unclassifiedFlowPct)}
	}
	var assumed []string
	if _, known := flowOfClass[m.Class]; !known {
		assumed = append(assumed, fmt.Sprintf("heat meter of class %d", assumedClass))
	}
	if m.PermanentFlowLPH <= 0 {
		assumed = append(assumed, fmt.Sprintf("heat meter with a permanent flow of %d l/h", assumedPermanentFlowLPH))
	}
	if m.MinimumDifferenceK <= 0 {
		assumed = append(assumed, fmt.Sprintf("heat meter with a minimum difference of %d K", assumedMinimumDifferenceK))
	}
	return assumed
}

func (m HeatMeter) permanentFlowLPH() float64 {
	if m.PermanentFlowLPH > 0 {
		return m.PermanentFlowLPH
	}
	return assumedPermanentFlowLPH
}

func (m HeatMeter) minimumDifferenceK() float64 {
	if m.MinimumDifferenceK > 0 {
		return m.MinimumDifferenceK
	}
	return assumedMinimumDifferenceK
}

package metrology

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var nan = math.NaN()

// Where only the heat is known, a class 2 meter is taken at the ends of the
// range the directive makes it cover: a tenth of qp and the minimum difference.
// Ef = 2 + 0.02·10, Et = 0.5 + 3, Ec = 0.5 + 1.
func TestUnknownWorkingPoint(t *testing.T) {
	var s HeatSums
	s.Count(1e6, nan, nan, intervalS)
	assert.InDelta(t, 2.2e4, class2.flowLimitJ(&s), 1e-6)
	assert.InDelta(t, 3.5e4, class2.pairLimitJ(&s), 1e-6)
	assert.InDelta(t, 1.5e4, class2.calculatorLimitJ(&s), 1e-6)
	assert.Zero(t, class2.BelowRangeShare(&s))
}

// A known difference says what the pair does without the flow: Et at 6 K.
func TestUnknownFlow(t *testing.T) {
	var s HeatSums
	s.Count(1e6, nan, 6, intervalS)
	assert.InDelta(t, 2.2e4, class2.flowLimitJ(&s), 1e-6)
	assert.InDelta(t, 1e4*class2.LimitsAt(250, 6)[1], class2.pairLimitJ(&s), 1e-6)
}

func TestUnknownHeatIsNotCounted(t *testing.T) {
	var s HeatSums
	s.Count(nan, 1200, 5, intervalS)
	assert.Equal(t, HeatSums{}, s)
}

// An idle pump carries no heat but a pair error still makes some.
func TestNoDifferenceStillHasAPairError(t *testing.T) {
	var s HeatSums
	s.Count(0, 1200, 0, 3600)
	assert.Zero(t, s.GrossJ)
	// 1.2 m³ and 0.09 K at 1.1515 kWh/(m³·K), the table's coefficient at 45/40.
	assert.InEpsilon(t, 1.2*0.09*1.151463*3.6e6, class2.pairLimitJ(&s), 1e-4)
}

// No single interval's limit passes the cap, and neither does the period's.
func TestFlowLimitIsCapped(t *testing.T) {
	for class, capPct := range map[HeatClass]float64{HeatClass1: 3.5, HeatClass2: 5, HeatClass3: 5, HeatUnclassified: 5} {
		m := HeatMeter{Class: class, PermanentFlowLPH: 6000, MinimumDifferenceK: 3}
		var s HeatSums
		s.Count(1e6, 12, 5, intervalS)
		assert.InDelta(t, capPct*1e4, m.flowLimitJ(&s), 1e-6)
		assert.Equal(t, capPct, m.LimitsAt(0, 5)[0])
	}
}

func TestBelowRangeShare(t *testing.T) {
	var s HeatSums
	s.Count(3e6, 1200, 2.9, intervalS)
	s.Count(-1e6, 1200, -2.9, intervalS)
	s.Count(4e6, 1200, 3.0, intervalS)
	s.Count(8e6, 1200, 40, intervalS)
	assert.InDelta(t, 4.0/16, class2.BelowRangeShare(&s), 1e-12)
	assert.InDelta(t, 8.0/16, HeatMeter{Class: HeatClass2, MinimumDifferenceK: 10}.BelowRangeShare(&s), 1e-12)
	assert.Zero(t, HeatMeter{Class: HeatUnclassified}.BelowRangeShare(&s))
}

func TestSumsKeepAsJSON(t *testing.T) {
	s := sumsOf(plantDay(9))
	text, err := json.Marshal(s)
	require.NoError(t, err)
	var back HeatSums
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, s, back)
}

func TestAssumptionsAreSaid(t *testing.T) {
	assert.Len(t, HeatMeter{}.Assumed(), 3)
	assert.Empty(t, class2.Assumed())
	assert.Equal(t, []string{"heat meter with a minimum difference of 3 K"}, HeatMeter{Class: HeatClass1, PermanentFlowLPH: 1500}.Assumed())
	assert.Len(t, HeatMeter{Class: HeatUnclassified}.Assumed(), 1)
	assert.Equal(t, []string{"electricity meter of class B"}, ElectricityClassNotGiven.Assumed())
	assert.Len(t, ElectricityUnclassified.Assumed(), 1)
	assert.Empty(t, ElectricityClassC.Assumed())
	// What is assumed is what is used.
	assert.Equal(t, class2.LimitsAt(1200, 5), HeatMeter{}.LimitsAt(1200, 5))
	assert.Equal(t, 2.0, ElectricityClassNotGiven.usualLimitPct())
}

// Two sensors of IEC 60751 class B at 40 °C are each within 0.5 K. Drawn evenly
// and independently their difference has a standard deviation of 0.5·sqrt(2/3).
func TestUnclassifiedPair(t *testing.T) {
	limits := HeatMeter{Class: HeatUnclassified}.LimitsAt(1200, 5)
	assert.Equal(t, 5.0, limits[0])
	assert.InDelta(t, 100*2*0.5*math.Sqrt(2.0/3)/5, expanded(limits[1]), 1e-9)
	assert.Zero(t, limits[2])
}

func TestNoLimitOutsideTheDirective(t *testing.T) {
	for _, ambientC := range []float64{-40.1, 70.1, nan} {
		_, ok := ElectricityClassB.LimitPct(LoadNormal, ambientC)
		assert.False(t, ok, ambientC)
	}
	pct, ok := ElectricityUnclassified.LimitPct(LoadNormal, 20)
	assert.True(t, ok)
	assert.Equal(t, 5.0, pct)
}

func TestUnknownSensorClassPanics(t *testing.T) {
	assert.Panics(t, func() { ToleranceK(SensorClass(9), 20) })
}

// BenchmarkCount is one of 8,640 calls a site day makes.
func BenchmarkCount(b *testing.B) {
	var s HeatSums
	flowLPH, differenceK := 1200.0, 5.0
	for b.Loop() {
		s.Count(69335, flowLPH, differenceK, intervalS)
		flowLPH, differenceK = flowLPH+0.01, -differenceK
	}
	if s.GrossJ == 0 {
		b.Fatal("nothing counted")
	}
}

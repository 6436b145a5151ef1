package metrology

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/fluid"
)

// class2 is the meter of the worked example: 1200 l/h, 5 K, qp 2.5 m³/h.
var class2 = HeatMeter{Class: HeatClass2, PermanentFlowLPH: 2500, MinimumDifferenceK: 3}

// interval is ten seconds of a plant.
type interval struct{ flowLPH, flowC, returnC float64 }

const intervalS = 10

func (p interval) heatJ() float64 {
	return fluid.Water().HeatPowerW(p.flowLPH, p.flowC, p.returnC, fluid.MeterInReturn) * intervalS
}

func (p interval) differenceK() float64 { return p.flowC - p.returnC }

func sumsOf(intervals []interval) HeatSums {
	var s HeatSums
	for _, p := range intervals {
		s.Count(p.heatJ(), p.flowLPH, p.differenceK(), intervalS)
	}
	return s
}

// plantDay is a day of 8640 intervals at changing flow and difference, the last
// hundred a defrost.
func plantDay(seed uint64) []interval {
	random := rand.New(rand.NewPCG(seed, 7))
	day := make([]interval, 8640)
	for i := range day {
		day[i] = interval{flowLPH: 400 + 1200*random.Float64(), returnC: 30}
		day[i].flowC = day[i].returnC + 2 + 8*random.Float64()
		if i >= 8540 {
			day[i].flowC = day[i].returnC - 4
		}
	}
	return day
}

// The worked example in full digits stands in testdata/metrology/metrology.csv;
// a period of nothing else must say the same: 3.77 % and 5.44 % of heat, 4.42 %
// and 7.44 % of the COP with a class B meter.
func TestSteadyPeriodIsTheWorkedExample(t *testing.T) {
	p := Period{
		Sums: sumsOf([]interval{{1200, 35, 30}, {1200, 35, 30}}), HeatMeter: class2,
		ElectricityJ: 2 * 6933.5 * intervalS / 4, ElectricityMeter: ElectricityClassB,
	}
	heat, ok := p.Heat()
	require.True(t, ok)
	assert.InDelta(t, 3.7717, heat.Pct, 0.01)
	assert.InDelta(t, 5.4417, heat.LimitPct, 0.01)
	require.Len(t, heat.Parts, 3)
	assert.Equal(t, PartSensorPair, heat.Parts[0].Name)
	assert.Equal(t, PartFlowSensor, heat.Parts[1].Name)
	assert.InDelta(t, 2.0417, heat.Parts[1].LimitPct, 0.00006)
	assert.Equal(t, PartCalculator, heat.Parts[2].Name)

	spf, ok := p.SPF()
	require.True(t, ok)
	assert.InDelta(t, 4, spf.Value, 1e-3)
	assert.InDelta(t, 4.4221, spf.Pct, 0.01)
	assert.InDelta(t, 7.4417, spf.LimitPct, 0.01)
	assert.InDelta(t, 4*(1-0.0442), spf.Low, 1e-3)
	assert.InDelta(t, 4*(1+0.0442), spf.High, 1e-3)
	assert.True(t, spf.WholePeriod)
	assert.Empty(t, p.Assumed())
}

// The limit of a period is the mean of the directive's limits at its working
// points, weighted with the size of the heat. The sums hold what a litre carries
// to 0.7 %, so pair and calculator agree to that.
func TestPeriodLimitIsTheWeightedMeanOfItsWorkingPoints(t *testing.T) {
	day := plantDay(1)
	for _, m := range []HeatMeter{
		class2, {HeatClass1, 1500, 5}, {HeatClass3, 6000, 10}, {Class: HeatClassNotGiven}, {Class: HeatUnclassified},
	} {
		var want [3]float64
		for _, p := range day {
			limits := m.LimitsAt(p.flowLPH, p.differenceK())
			for part := range want {
				want[part] += limits[part] / 100 * math.Abs(p.heatJ())
			}
		}
		sums := sumsOf(day)
		assert.InEpsilon(t, want[0], m.flowLimitJ(&sums), 1e-9, "flow sensor of %v", m)
		assert.InEpsilon(t, want[1], m.pairLimitJ(&sums), 0.007, "pair of %v", m)
		if want[2] > 0 {
			assert.InEpsilon(t, want[2], m.calculatorLimitJ(&sums), 0.007, "calculator of %v", m)
		}
	}
}

// A plant whose meters are off by errors drawn within their limits, the same all
// day, must give heat and SPF that scatter as the interval says.
func TestIntervalIsWhatWrongMetersWouldGive(t *testing.T) {
	day := plantDay(2)
	truth := sumsOf(day)
	p := Period{Sums: truth, HeatMeter: class2, ElectricityJ: truth.NetJ / 3.6, ElectricityMeter: ElectricityClassB}
	heat, _ := p.Heat()
	spf, _ := p.SPF()

	// Moments of the day for an error of each kind: a flow error scales heat by
	// its own limit at each flow, a pair error has a constant share and a
	// constant difference, and so has the calculator.
	var flowJ, shareJ, perKJ float64
	for _, point := range day {
		heatJ := point.heatJ()
		flowJ += class2.LimitsAt(point.flowLPH, point.differenceK())[0] / 100 * heatJ
		shareJ += heatJ
		perKJ += heatJ / point.differenceK()
	}
	random := rand.New(rand.NewPCG(3, 4))
	within := func(limit float64) float64 { return limit * (2*random.Float64() - 1) }
	const draws = 200_000
	var heatSquares, spfSquares float64
	for range draws {
		pair, calculator := within(1), within(1)
		metered := truth.NetJ + within(1)*flowJ + pair*(0.005*shareJ+0.09*perKJ) + calculator*(0.005*shareJ+0.03*perKJ)
		electricity := 1 + within(0.02)
		heatSquares += math.Pow(metered/truth.NetJ-1, 2)
		spfSquares += math.Pow(metered/truth.NetJ/electricity-1, 2)
	}
	// Defrosts count with their size in the sums, against the rest here: 1 %.
	assert.InEpsilon(t, 200*math.Sqrt(heatSquares/draws), heat.Pct, 0.02)
	assert.InEpsilon(t, 200*math.Sqrt(spfSquares/draws), spf.Pct, 0.02)
}

func TestDaysAdd(t *testing.T) {
	day := plantDay(5)
	whole, first, second := sumsOf(day), sumsOf(day[:3000]), sumsOf(day[3000:])
	first.Add(&second)
	assert.InEpsilon(t, whole.NetJ, first.NetJ, 1e-12)
	assert.InEpsilon(t, whole.GrossJ, first.GrossJ, 1e-12)
	assert.InEpsilon(t, whole.PerFlowJPerLPH, first.PerFlowJPerLPH, 1e-12)
	assert.InEpsilon(t, whole.CapacityJPerK, first.CapacityJPerK, 1e-12)
	assert.InEpsilonSlice(t, whole.ByDifferenceJ[2:10], first.ByDifferenceJ[2:10], 1e-12)
}

// A pair error of 0.2 K at 5 K is 4 % of heat, and two unpaired class B sensors
// at 35 °C may be off by 0.95 K, 19 % (testdata/metrology/metrology.csv).
func TestKnownPairErrorReplacesTheClass(t *testing.T) {
	for pairErrorK, wantPct := range map[float64]float64{0.2: 4, 0.95: 19} {
		p := Period{Sums: sumsOf([]interval{{1200, 37.5, 32.5}}), HeatMeter: class2, PairErrorK: pairErrorK}
		heat, ok := p.Heat()
		require.True(t, ok)
		assert.Equal(t, PartSensorPair, heat.Parts[partNamed(heat, PartSensorPair)].Name)
		assert.InEpsilon(t, wantPct, heat.Parts[partNamed(heat, PartSensorPair)].Pct, 0.005)
	}
}

func partNamed(d Doubt, name string) int {
	for i, part := range d.Parts {
		if part.Name == name {
			return i
		}
	}
	return -1
}

// Half the difference doubles what a pair error does, and a defrost that takes
// back heat adds to it: same flow, same error, less heat left.
func TestPairErrorGrowsAsTheDifferenceFalls(t *testing.T) {
	pct := func(intervals ...interval) float64 {
		p := Period{Sums: sumsOf(intervals), HeatMeter: class2, PairErrorK: 0.2}
		heat, ok := p.Heat()
		require.True(t, ok)
		return heat.Parts[partNamed(heat, PartSensorPair)].Pct
	}
	at5 := pct(interval{1200, 35, 30})
	assert.InEpsilon(t, 2*at5, pct(interval{1200, 32.5, 30}), 0.002)
	// Two intervals of error by half the heat of one: four times as much.
	assert.InEpsilon(t, 4*at5, pct(interval{1200, 35, 30}, interval{1200, 27.5, 30}), 0.005)
}

// A wrong heat capacity is one factor on all heat, so a defrost does not add to
// it: 1.5 % stays 1.5 %.
func TestFluidIsOneFactor(t *testing.T) {
	p := Period{Sums: sumsOf([]interval{{1200, 35, 30}, {1200, 28, 30}}), HeatMeter: class2, FluidRatio: 0.015}
	heat, ok := p.Heat()
	require.True(t, ok)
	assert.InDelta(t, 1.5, heat.Parts[partNamed(heat, PartFluid)].Pct, 1e-9)
}

// A standard deviation of 1 % of the electricity is 2 % with k = 2; class B is
// 2 % as a limit, 2·2/sqrt(3) with k = 2.
func TestElectricityParts(t *testing.T) {
	p := Period{ElectricityJ: 1e7, ElectricityVarianceJSq: 1e5 * 1e5, ElectricityMeter: ElectricityClassB}
	electricity, ok := p.Electricity()
	require.True(t, ok)
	assert.InDelta(t, math.Hypot(2, 4/math.Sqrt(3)), electricity.Pct, 1e-9)
	assert.Equal(t, PartElectricityMeter, electricity.Parts[0].Name)
}

func TestFurtherPartsAddInSquares(t *testing.T) {
	p := Period{Sums: sumsOf([]interval{{1200, 35, 30}}), HeatMeter: class2}
	plain, _ := p.Heat()
	p.OffsetK, p.FluidRatio = -0.1, 0.015             // 2 % and 1.5 %
	p.HeatVarianceJSq = math.Pow(0.01*p.Sums.NetJ, 2) // 1 %, so 2 % with k = 2
	heat, _ := p.Heat()
	assert.InDelta(t, math.Sqrt(plain.Pct*plain.Pct+2*2+1.5*1.5+2*2), heat.Pct, 0.01)
	assert.InDelta(t, plain.LimitPct+2+1.5+2, heat.LimitPct, 0.01)
	for i := range heat.Parts[1:] {
		assert.GreaterOrEqual(t, heat.Parts[i].Pct, heat.Parts[i+1].Pct)
	}
}

// Heat added from an electric heater carries no error of the heat meter: with as
// much added as metered, the heat's share of the doubt halves.
func TestAddedHeatDilutesTheHeatMeter(t *testing.T) {
	p := Period{Sums: sumsOf([]interval{{1200, 35, 30}}), HeatMeter: class2, ElectricityMeter: ElectricityClassB}
	p.ElectricityJ = p.Sums.NetJ
	p.AddedHeatJ = p.Sums.NetJ
	heat, _ := p.Heat()
	electricity, ok := p.Electricity()
	require.True(t, ok)
	spf, ok := p.SPF()
	require.True(t, ok)
	assert.InDelta(t, 2, spf.Value, 1e-12)
	assert.InDelta(t, math.Hypot(heat.Pct/2, electricity.Pct), spf.Pct, 1e-9)
}

// A tenth not covered, of days that differ by 20 %: 2 x 20 % of a tenth is 4 %.
func TestUncoveredTimeWidensTheInterval(t *testing.T) {
	p := Period{Sums: sumsOf([]interval{{1200, 35, 30}}), HeatMeter: class2, ElectricityMeter: ElectricityClassB}
	p.ElectricityJ = p.Sums.NetJ / 3
	covered, _ := p.SPF()
	p.UncoveredShare = 0.1
	unknown, _ := p.SPF()
	assert.False(t, unknown.WholePeriod)
	assert.Equal(t, covered.Pct, unknown.Pct)
	p.DaySpreadRatio = 0.2
	whole, _ := p.SPF()
	assert.True(t, whole.WholePeriod)
	assert.InDelta(t, math.Hypot(covered.Pct, 4), whole.Pct, 1e-9)
	assert.Equal(t, PartUncovered, whole.Parts[0].Name)
}

// Five days that used as much electricity each, one with SPF 3.4 and four with
// 3.0: mean 3.08, deviations 0.32 and four times -0.08, variance 0.128/4.
func TestDaySpread(t *testing.T) {
	days := []DayEnergy{{3.4, 1}, {3, 1}, {3, 1}, {3, 1}, {3, 1}, {0, 0}}
	ratio, ok := DaySpreadRatio(days)
	require.True(t, ok)
	assert.InDelta(t, math.Sqrt(0.128/4)/3.08, ratio, 1e-12)

	_, ok = DaySpreadRatio(days[:4])
	assert.False(t, ok, "four days do not say how much days differ")
	_, ok = DaySpreadRatio([]DayEnergy{{-1, 1}, {-1, 1}, {-1, 1}, {-1, 1}, {-1, 1}})
	assert.False(t, ok)

	// A day that used hardly any electricity says hardly anything.
	days[0].HeatJ, days[0].ElectricityJ = 3.4e-6, 1e-6
	ratio, ok = DaySpreadRatio(days)
	require.True(t, ok)
	assert.Less(t, ratio, 1e-3)
}

func TestNoDoubtWithoutEnergy(t *testing.T) {
	p := Period{HeatMeter: class2, ElectricityJ: 1}
	_, ok := p.Heat()
	assert.False(t, ok, "no heat")
	_, ok = p.SPF()
	assert.False(t, ok, "no heat")

	p.Sums.Count(-5e6, 1200, -4, intervalS)
	_, ok = p.Heat()
	assert.False(t, ok, "heat drawn only")

	p = Period{Sums: sumsOf([]interval{{1200, 35, 30}}), HeatMeter: class2}
	_, ok = p.Electricity()
	assert.False(t, ok, "no electricity")
	_, ok = p.SPF()
	assert.False(t, ok, "no electricity")
}

// At a net heat near zero the percentage passes 100; an SPF is not negative.
func TestIntervalStaysAboveZero(t *testing.T) {
	p := Period{
		Sums: sumsOf([]interval{{1200, 35, 30}, {1200, 25.1, 30}}), HeatMeter: class2,
		ElectricityJ: 1e4, ElectricityMeter: ElectricityClassB,
	}
	spf, ok := p.SPF()
	require.True(t, ok)
	assert.Greater(t, spf.Pct, 100.0)
	assert.Zero(t, spf.Low)
	assert.Greater(t, spf.High, spf.Value)
}

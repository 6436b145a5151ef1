package defrost_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/defrost"
	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

var morning = time.Date(2026, 1, 14, 6, 0, 0, 0, time.UTC)

// stretch is so many seconds at a heat output and a power.
func stretch(lengthS, heatW, powerW float64) siteday.Stretch {
	return siteday.Stretch{S: lengthS, HeatJ: lengthS * heatW, ElectricityJ: lengthS * powerW}
}

// oneDefrost draws 3 kW for five minutes at 800 W and recovers for ten at 4 kW
// and 1800 W; around it the plant gives 6 kW for 2 kW.
func oneDefrost() siteday.Sums {
	outdoorC, humidityPct := 1.4, 93.0
	sums := siteday.Sums{Defrosts: []siteday.Defrost{{
		From: morning, To: morning.Add(5 * time.Minute), OutdoorC: &outdoorC, HumidityPct: &humidityPct,
		Took: stretch(300, -3000, 800), Recovery: stretch(600, 4000, 1800), Before: stretch(600, 6000, 2000), After: stretch(400, 6000, 2000),
	}}}
	sums.SecondsS[operation.Heating], sums.SecondsS[operation.Defrost] = 86100, 300
	sums.HeatJ[operation.Heating], sums.HeatJ[operation.Defrost] = 500e6, -0.9e6
	sums.ElectricityJ[operation.Heating], sums.ElectricityJ[operation.Defrost] = 160e6, 0.24e6
	sums.DrawnJ = 0.9e6
	return sums
}

// TestCostByHand: over 15 minutes 0.24 + 1.08 MJ were used for -0.9 + 2.4 MJ,
// which at 3 for 1 would have taken 0.5 MJ; 6 kW would have given 5.4 MJ.
func TestCostByHand(t *testing.T) {
	sums := oneDefrost()
	r := defrost.Summarise(&sums)
	require.NotNil(t, r.Episodes[0].Cost)
	cost := *r.Episodes[0].Cost
	assert.InDelta(t, 0.82e6, cost.ElectricityJ, 1)
	assert.InDelta(t, 3.9e6, cost.MissedHeatJ, 1)
	assert.InDelta(t, 3, cost.Undisturbed, 1e-9)
	assert.InDelta(t, 600, cost.RecoveryS, 1e-9)
	assert.True(t, cost.BothSides)
	assert.Equal(t, 5*time.Minute, r.Length, "the recovery is no part of the length")
	assert.InDelta(t, 300.0/86400, *r.ShareOfRunTime, 1e-12)
	assert.InDelta(t, 0.24/160.24, *r.ShareOfElectricity, 1e-12)
}

// TestPenalty is 1 - net/undisturbed: 499.1 MJ for 160.24 MJ, which would have
// been 159.42 MJ without the defrost.
func TestPenalty(t *testing.T) {
	sums := oneDefrost()
	p := defrost.Summarise(&sums).Cost.Penalty
	assert.InDelta(t, 499.1/160.24, p.Net, 1e-9)
	assert.InDelta(t, 499.1/159.42, p.Undisturbed, 1e-9)
	assert.InDelta(t, 1-p.Net/p.Undisturbed, p.Share, 1e-12)
}

func TestCostNeedsMinutesAroundIt(t *testing.T) {
	check := func(why string, change func(d *siteday.Defrost), known, bothSides bool) {
		t.Helper()
		sums := oneDefrost()
		change(&sums.Defrosts[0])
		cost := defrost.Summarise(&sums).Episodes[0].Cost
		require.Equal(t, known, cost != nil, why)
		if known {
			assert.Equal(t, bothSides, cost.BothSides, why)
			assert.InDelta(t, 0.82e6, cost.ElectricityJ, 1, why)
		}
	}
	none := siteday.Stretch{}
	check("only before", func(d *siteday.Defrost) { d.After = none }, true, false)
	check("only after", func(d *siteday.Defrost) { d.Before = none }, true, false)
	check("neither", func(d *siteday.Defrost) { d.Before, d.After = none, none }, false, false)
	check("too short", func(d *siteday.Defrost) { d.Before, d.After = stretch(170, 6000, 2000), none }, false, false)
	check("no heat around it", func(d *siteday.Defrost) { d.Before, d.After = stretch(600, 2000, 2000), none }, false, false)
	check("cut by the end of the span", func(d *siteday.Defrost) { d.OpenAfter = true }, false, false)
	check("half of it unknown", func(d *siteday.Defrost) { d.Took.S = 150 }, false, false)
}

// TestEfficiencyBetweenBothSides: a plant at 4 for 1 before and 3 for 1 after
// would have taken 0.375 and 0.5 MJ for the 1.5 MJ of the window.
func TestEfficiencyBetweenBothSides(t *testing.T) {
	sums := oneDefrost()
	sums.Defrosts[0].Before = stretch(600, 6000, 1500)
	cost := defrost.Summarise(&sums).Episodes[0].Cost
	assert.InDelta(t, 1.32e6-(0.375e6+0.5e6)/2, cost.ElectricityJ, 1)
}

// TestTotalTakesUnknownOnesForAverage and says on how many it rests; its
// interval is Student's (t = 4.303 for two degrees of freedom).
func TestTotalTakesUnknownOnesForAverage(t *testing.T) {
	sums := oneDefrost()
	first := sums.Defrosts[0]
	for i, extraJ := range []float64{0.1e6, 0.2e6, 0} {
		d := first
		d.From, d.To = first.From.Add(time.Duration(i+1)*time.Hour), first.To.Add(time.Duration(i+1)*time.Hour)
		d.Took.ElectricityJ += extraJ
		if extraJ == 0 {
			d.Before, d.After = siteday.Stretch{}, siteday.Stretch{}
		}
		sums.Defrosts = append(sums.Defrosts, d)
	}
	total := defrost.Summarise(&sums).Cost
	assert.Equal(t, 3, total.Known)
	assert.InDelta(t, 4*0.92e6, total.ElectricityJ, 1)
	assert.InDelta(t, 4*4.303*0.1e6/1.7321, total.HighJ-total.ElectricityJ, 1e2)
	assert.InDelta(t, 4*3.9e6, total.MissedHeatJ, 1)
}

func TestBands(t *testing.T) {
	sums := oneDefrost()
	ran := siteday.Bin{}
	ran.SecondsS[operation.Heating], ran.SecondsS[operation.Off] = 3600, 1800
	sums.Bins = map[int]siteday.Bin{-1: ran, 0: ran, 1: ran}
	sums.Humidity = siteday.Histogram{Width: 10, Weight: map[int]float64{9: 7200}}
	r := defrost.Summarise(&sums)
	require.Len(t, r.ByOutdoor, 2)
	assert.Equal(t, defrost.Band{From: -2, To: 0, RunS: 3600}, r.ByOutdoor[0])
	warm := r.ByOutdoor[1]
	assert.Equal(t, 7200.0, warm.RunS)
	assert.Equal(t, 1, warm.Count)
	assert.Equal(t, 5*time.Minute, warm.Length)
	assert.InDelta(t, 0.82e6, warm.ElectricityJ, 1)
	require.Len(t, r.ByHumidity, 1)
	assert.Equal(t, [2]float64{90, 100}, [2]float64{r.ByHumidity[0].From, r.ByHumidity[0].To})
	assert.Equal(t, 1, r.ByHumidity[0].Count)
}

func TestNothingKnown(t *testing.T) {
	r := defrost.Summarise(&siteday.Sums{})
	assert.Nil(t, r.ShareOfRunTime)
	assert.Nil(t, r.Cost)
	assert.Equal(t, defrost.NotKnown, r.Pattern.Kind)
	assert.NotEmpty(t, r.Pattern.Why)
}

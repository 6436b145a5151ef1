package curve

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/siteday"
)

// table reads testdata/emitter; the first line of each file names its source.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	file, err := os.Open("../../testdata/emitter/" + name)
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	reader.FieldsPerRecord = -1
	lines, err := reader.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 3)
	return lines[1:]
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// expected are scipy's fits of the table's points.
func expected(t *testing.T) map[string]float64 {
	found := map[string]float64{}
	for _, row := range table(t, "heating_curve_expected.csv") {
		found[row[1]] = number(t, row[2])
		if len(row) > 3 && row[3] != "" {
			found[row[1]+" se"] = number(t, row[3])
		}
	}
	return found
}

// TestRegressionAgainstLeastSquares: on normal noise the robust line must lie
// within scipy's standard errors of its least squares line, and claim errors
// like those.
func TestRegressionAgainstLeastSquares(t *testing.T) {
	var outdoorC, flowC, weight []float64
	for _, row := range table(t, "heating_curve_fit.csv") {
		outdoorC = append(outdoorC, number(t, row[0]))
		flowC, weight = append(flowC, number(t, row[1])), append(weight, 1)
	}
	want := expected(t)
	check := func(shareOfSE, ofItself float64) {
		t.Helper()
		r, ok := regress([][]float64{outdoorC}, flowC, weight, math.Inf(1))
		require.True(t, ok)
		require.True(t, r.refine())
		assert.InDelta(t, want["slope"], r.coefficient[1], shareOfSE*want["slope se"])
		assert.InDelta(t, want["intercept_at_0C"], r.coefficient[0], shareOfSE*want["intercept_at_0C se"])
		assert.InEpsilon(t, want["slope se"], r.deviation([]float64{0, 1}), ofItself)
	}
	check(1, 0.15)
	for i := range 12 { // a tenth of the hours is wrong by 15 K
		flowC[10*i] += 15
	}
	check(1.5, 0.3) // fewer points, and a wider middle of the residuals
}

// TestPartLoadAgainstTable: the table's points come from emitters of exponent
// 1.3 at 45 °C flow and 38 °C return at -5 °C outdoors, room 20 °C, with noise of
// 0.4 K. The flow at design must be found where a straight line overshoots.
func TestPartLoadAgainstTable(t *testing.T) {
	s := siteday.Sums{}
	begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for i, row := range table(t, "heating_curve_fit.csv") {
		mean := func(value float64) siteday.Mean { return siteday.Mean{ValueS: 3600 * value, S: 3600} }
		outdoor := mean(number(t, row[0]))
		s.Hours = append(s.Hours, siteday.Hour{
			From: begin.Add(time.Duration(i) * time.Hour), S: 3600, RunS: 3600, Outdoor: outdoor,
			Steady: siteday.SteadyHour{S: 3600, Outdoor: outdoor, Target: mean(number(t, row[1]))},
		})
	}
	f := Of(&s, Known{DesignOutdoorC: new(-5.0), RoomSetC: new(20.0), Exponent: 1.3})
	require.Equal(t, Usable, f.Verdict, f.Why)
	assert.Equal(t, PartLoad, f.Shape)
	assert.Zero(t, f.DampingH)
	require.NotNil(t, f.FlowAtDesignC)
	assert.InDelta(t, 45, f.FlowAtDesignC.Value, 0.15)
	assert.Less(t, f.FlowAtDesignC.Value, expected(t)["tf_at_-5"], "the straight line")
	assert.InDelta(t, 0.4, f.RMSK, 0.05, "the noise")
}

// TestPartLoadIsTheEmittersCurve: testdata/emitter/emitters.csv, rows of the
// heating curve at constant flow. Level and size are free, so a curve through
// the table's two ends must meet it in between.
func TestPartLoadIsTheEmittersCurve(t *testing.T) {
	checked := 0
	for _, row := range table(t, "emitters.csv") {
		if row[0] != "heating_curve" || row[2] != "te0=-3 tf0=50 tr0=43 ti=20 const.flow" {
			continue
		}
		outdoorC := number(t, row[3][len("te="):])
		sh := partLoad(1.3, -3, 20)
		flowC := 20 + 30*sh.at(outdoorC)
		assert.InDelta(t, number(t, row[5]), flowC, 0.1, row)
		checked++
	}
	assert.Greater(t, checked, 5)
}

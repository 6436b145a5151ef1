package robust

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// readTable reads testdata/signature; the first line of each file names its
// source. Columns come by name.
func readTable(t *testing.T, name string) map[string][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "signature", name))
	require.NoError(t, err)
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(records), 2)
	columns := map[string][]string{}
	for c, header := range records[0] {
		for _, record := range records[1:] {
			columns[header] = append(columns[header], record[c])
		}
	}
	return columns
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

func numbers(t *testing.T, column []string) []float64 {
	t.Helper()
	require.NotEmpty(t, column)
	values := make([]float64, len(column))
	for i, s := range column {
		values[i] = number(t, s)
	}
	return values
}

// equal compares with a number printed to eight significant digits.
func equal(t *testing.T, printed string, got float64, what ...any) {
	t.Helper()
	want := number(t, printed)
	tolerance := 0.0
	if want != 0 {
		tolerance = 0.501 * math.Pow(10, math.Floor(math.Log10(math.Abs(want)))-7)
	}
	assert.InDelta(t, want, got, tolerance, what...)
}

// signature is a data set of outdoor temperature and daily heat.
func signature(t *testing.T, set string) (outdoorC, heatKWh []float64) {
	t.Helper()
	table := readTable(t, map[string]string{
		"B": "sig_B_winter_lm.csv", "C": "sig_C_outliers.csv", "E": "sig_E_ar1_residuals.csv",
	}[set])
	return numbers(t, table["te_C"]), numbers(t, table["heat_kWh"])
}

func series(t *testing.T, name string) []float64 {
	t.Helper()
	table := readTable(t, "mk_series.csv")
	var values []float64
	for i, s := range table["series"] {
		if "mk_"+s == name {
			values = append(values, number(t, table["value"][i]))
		}
	}
	require.NotEmpty(t, values, name)
	return values
}

// TestAgainstSciPyAndR checks every figure of robust_results.csv that this
// package computes: SciPy 1.10.1's theilslopes and kendalltau, and the
// Mann-Kendall figures, which R 4.2.2's cor.test(method = "kendall", exact =
// FALSE, continuity = TRUE) gives too.
func TestAgainstSciPyAndR(t *testing.T) {
	table := readTable(t, "robust_results.csv")
	checked := 0
	for i, method := range table["method"] {
		r := result{set: table["dataset"][i], method: method, quantity: table["quantity"][i],
			value: table["value"][i], low: table["ci95_lo"][i], high: table["ci95_hi"][i]}
		switch {
		case strings.HasPrefix(r.set, "mk_"):
			r.checkSeries(t)
		case strings.Contains(method, "theilslopes"):
			r.checkSignature(t)
		case strings.Contains(method, "siegelslopes"), strings.Contains(method, "linregress"):
			continue // other methods
		default:
			t.Errorf("nothing checks %v", r)
		}
		checked++
	}
	assert.Equal(t, 3*6+3*6, checked)
}

type result struct{ set, method, quantity, value, low, high string }

func (r result) checkInterval(t *testing.T, got Estimate) {
	equal(t, r.value, got.Value, r)
	equal(t, r.low, got.Low, r)
	equal(t, r.high, got.High, r)
}

func (r result) checkSignature(t *testing.T) {
	line, ok := TheilSen(signature(t, r.set))
	require.True(t, ok)
	got := map[string]float64{"intercept": line.Intercept, "value_at_-3C": line.At(-3)}
	switch {
	case r.quantity == "slope":
		r.checkInterval(t, line.Slope)
	case strings.Contains(r.method, "joint"):
		equal(t, r.value, got[r.quantity], r)
	default:
		// The other intercept: it must not be the one given.
		assert.Greater(t, math.Abs(number(t, r.value)-got[r.quantity]), 0.2, r)
	}
}

func (r result) checkSeries(t *testing.T) {
	values := series(t, r.set)
	trend, ok := MannKendall(values)
	require.True(t, ok)
	step := make([]float64, len(values))
	for i := range step {
		step[i] = float64(i)
	}
	line, ok := TheilSen(step, values)
	require.True(t, ok)
	switch r.quantity {
	case "slope_per_step":
		r.checkInterval(t, line.Slope)
	default:
		got, known := map[string]float64{"S": trend.S, "VarS": trend.Variance, "Z": trend.Z, "p": trend.P, "tau": trend.Tau}[r.quantity]
		require.True(t, known, r)
		equal(t, r.value, got, r)
	}
}

// On data without outliers the joint intercept is that of least squares: 103.09
// on set B, where the other choice gives 98.94.
func TestJointInterceptIsThatOfLeastSquares(t *testing.T) {
	outdoorC, heatKWh := signature(t, "B")
	line, ok := TheilSen(outdoorC, heatKWh)
	require.True(t, ok)
	leastSquares, _ := stat.LinearRegression(outdoorC, heatKWh, nil, false)
	assert.InDelta(t, 103.09, line.Intercept, 0.005)
	assert.InDelta(t, leastSquares, line.Intercept, 0.01)
	assert.Equal(t, len(outdoorC), line.N)
}

// R 4.2.2: lag-1 autocorrelation of the residuals of lm, as printed in
// signature_results.csv, and n(1-rho)/(1+rho) of set E.
func TestAutocorrelationAgainstR(t *testing.T) {
	table := readTable(t, "signature_results.csv")
	checked := 0
	for i, set := range table["dataset"] {
		quantity := table["quantity"][i]
		if !strings.Contains("BCE", set) || quantity != "resid_lag1_autocorr" && quantity != "n_eff" {
			continue
		}
		rests := residuals(signature(t, set))
		rho, ok := Autocorrelation(rests)
		require.True(t, ok)
		if quantity == "n_eff" {
			equal(t, table["value"][i], EffectiveSize(len(rests), rho), set)
		} else {
			equal(t, table["value"][i], rho, set)
		}
		checked++
	}
	assert.Equal(t, 4, checked)
}

func residuals(x, y []float64) []float64 {
	intercept, slope := stat.LinearRegression(x, y, nil, false)
	rests := make([]float64, len(x))
	for i := range x {
		rests[i] = y[i] - intercept - slope*x[i]
	}
	return rests
}

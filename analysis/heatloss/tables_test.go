package heatloss

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"coldweek/analysis/robust"
	"coldweek/ingest/checktable"
)

// tables are testdata/signature; the first line of each file names its source.
const tables = "../../testdata/signature"

// reference is a model's printed figures on a data set.
type reference map[string]map[string]string

func references(t *testing.T, set, model string) reference {
	t.Helper()
	found := reference{}
	for _, row := range checktable.Read(t, filepath.Join(tables, "signature_results.csv")) {
		if row["dataset"] == set && row["model"] == model {
			found[row["quantity"]] = row
		}
	}
	require.NotEmpty(t, found)
	return found
}

// equal compares with a figure of the reference, to a relative tolerance.
func (r reference) equal(t *testing.T, quantity, column string, got, ratio float64) {
	t.Helper()
	row, ok := r[quantity]
	require.True(t, ok, quantity)
	assert.InEpsilon(t, checktable.Number(t, row[column]), got, ratio, "%s %s", quantity, column)
}

// daysOf reads a data set; heat is in kWh a day, which stands for W here.
func daysOf(t *testing.T, name string) []sample {
	t.Helper()
	var samples []sample
	for _, row := range checktable.Read(t, filepath.Join(tables, name)) {
		samples = append(samples, sample{
			day: int(checktable.Number(t, row["day"])), outdoorC: checktable.Number(t, row["te_C"]), heatW: checktable.Number(t, row["heat_kWh"]), terms: map[Term]float64{},
		})
	}
	return samples
}

// ordinary is the standard error by least squares alone.
func (s *Signature) ordinary(g []float64) float64 {
	v := mat.NewVecDense(len(g), g)
	return math.Sqrt(s.fit.rss / float64(s.fit.freedom) * mat.Inner(v, s.fit.bread, v))
}

func (s *Signature) along(i int) []float64 {
	g := s.nothing()
	g[i] = 1
	return g
}

// TestLineAgainstR: R 4.2.2 lm() on the data sets.
func TestLineAgainstR(t *testing.T) {
	for set, file := range map[string]string{"B": "sig_B_winter_lm.csv", "C": "sig_C_outliers.csv", "E": "sig_E_ar1_residuals.csv"} {
		s, ok := line(daysOf(t, file), nil)
		require.True(t, ok)
		want := references(t, set, "lm")
		const digits = 1e-7
		want.equal(t, "slope", "value", -s.LossWPerK, digits)
		want.equal(t, "slope", "se", s.ordinary(s.along(1)), digits)
		want.equal(t, "intercept_at_0C", "value", s.ZeroW, digits)
		want.equal(t, "RSS", "value", s.fit.rss, digits)
		want.equal(t, "no-load temperature -a/b", "value", s.zeroC(), 1e-5)
		want.equal(t, "CVRMSE_pct", "value", 100*s.CV, digits)
		want.equal(t, "resid_lag1_autocorr", "value", s.Rho, digits)
		want.equal(t, "mean_response_at_-3C", "value", s.heatW(-3), digits)
		want.equal(t, "mean_response_at_-3C", "se", s.ordinary([]float64{1, 3}), digits)
		want.equal(t, "mean_response_at_-5C", "ci95_hi", s.heatW(-5)+certainty{variance: math.Pow(s.ordinary([]float64{1, 5}), 2), factor95: student95(float64(s.fit.freedom))}.half(), digits)
		assert.InDelta(t, 0, s.NMBE, 1e-12)
	}
}

// TestCorrelatedDaysWidenAgainstR: Newey-West with four lags, without a factor
// for small samples, and n_eff.
func TestCorrelatedDaysWidenAgainstR(t *testing.T) {
	s, ok := line(daysOf(t, "sig_E_ar1_residuals.csv"), nil)
	require.True(t, ok)
	want := references(t, "E", "Newey-West L=4 Bartlett no small-sample factor")
	require.Equal(t, 4, lagsFor(s.Days))
	se := func(g ...float64) float64 { return math.Sqrt(along(s.fit.neweyWest(4), g)) }
	want.equal(t, "slope_se", "value", se(0, 1), 1e-7)
	want.equal(t, "intercept_se", "value", se(1, 0), 1e-7)
	want.equal(t, "mean_response_se_at_-3C", "value", se(1, 3), 1e-7)
	s.fit.weigh()
	references(t, "E", "AR1 adjustment").equal(t, "n_eff", "value", robust.EffectiveSize(s.Days, s.Rho), 1e-7)
	assert.Greater(t, math.Sqrt(s.sureHeat(-3).variance), se(1, 3), "the interval in use is at least that")
}

// TestChangePointAgainstR: segmented 1.6.2, three parameters.
func TestChangePointAgainstR(t *testing.T) {
	for set, file := range map[string]string{"A": "sig_A_year_3p.csv", "D": "sig_D_weak_changepoint.csv", "G": "sig_G_near_exact.csv"} {
		s, ok := changePoint(daysOf(t, file), nil, Usual().SideDays)
		require.True(t, ok)
		want := references(t, set, "segmented 3P (flat above base)")
		const digits = 1e-6
		want.equal(t, "breakpoint_C", "value", *s.BaseC, digits)
		want.equal(t, "breakpoint_C", "se", s.ordinary(s.along(2)), digits)
		want.equal(t, "base_load_kWh_d", "value", s.ZeroW, digits)
		want.equal(t, "base_load_kWh_d", "se", s.ordinary(s.along(0)), digits)
		want.equal(t, "slope_kWh_d_per_K", "value", s.LossWPerK, digits)
		want.equal(t, "slope_kWh_d_per_K", "se", s.ordinary(s.along(1)), digits)
		want.equal(t, "RSS", "value", s.fit.rss, 1e-7)
		want.equal(t, "CVRMSE_pct", "value", 100*s.CV, digits)
		want.equal(t, "mean_response_at_-3C", "value", s.heatW(-3), digits)
		want.equal(t, "mean_response_at_-3C", "se", s.ordinary([]float64{1, *s.BaseC + 3, s.LossWPerK}), digits)
	}
}

// TestTheFormFollowsTheDays: a year and a spring reach the base, a winter does
// not, and a bend in winter is none.
func TestTheFormFollowsTheDays(t *testing.T) {
	rules := Usual()
	for file, bent := range map[string]bool{
		"sig_A_year_3p.csv": true, "sig_D_weak_changepoint.csv": true, "sig_G_near_exact.csv": true,
		"sig_B_winter_lm.csv": false, "sig_E_ar1_residuals.csv": false,
	} {
		s, ok := signatureOf(daysOf(t, file), &rules)
		require.True(t, ok)
		assert.Equal(t, bent, s.BaseC != nil, file)
	}
}

// TestOddDaysAreLeftOut: the six gross outliers of the set, and no other; what
// is left is R's lm() without them.
func TestOddDaysAreLeftOut(t *testing.T) {
	rules := Usual()
	var points []Point
	samples := daysOf(t, "sig_C_outliers.csv")
	for _, s := range samples {
		points = append(points, Point{day: s.day, HeatW: s.heatW, OutdoorC: new(s.outdoorC), AsIfC: new(s.outdoorC)})
	}
	s, ok := leaveOdd(points, false, &rules)
	require.True(t, ok)
	for i, row := range checktable.Read(t, filepath.Join(tables, "sig_C_outliers.csv")) {
		assert.Equal(t, row["outlier"] == "1", points[i].Left != "", row["day"])
	}
	want := references(t, "C_noout", "lm")
	want.equal(t, "slope", "value", -s.LossWPerK, 1e-7)
	want.equal(t, "mean_response_at_-3C", "value", s.heatW(-3), 1e-7)
}

// TestSunAndRoomsAgainstR: lm(heat ~ (ti - te) + solar). Akaike's criterion takes
// the sun in.
func TestSunAndRoomsAgainstR(t *testing.T) {
	var samples []sample
	for _, row := range checktable.Read(t, filepath.Join(tables, "sig_F_solar_multi.csv")) {
		samples = append(samples, sample{
			day: int(checktable.Number(t, row["day"])), outdoorC: checktable.Number(t, row["te_C"]) - checktable.Number(t, row["ti_C"]), heatW: checktable.Number(t, row["heat_kWh"]),
			terms: map[Term]float64{Sun: checktable.Number(t, row["sol_kWh_m2"])},
		})
	}
	rules := Usual()
	s, ok := signatureOf(samples, &rules)
	require.True(t, ok)
	require.Equal(t, []Term{Sun}, s.Terms)
	want := references(t, "F", "lm heat~dT+solar")
	want.equal(t, "intercept", "value", s.ZeroW, 1e-6)
	want.equal(t, "slope_dT", "value", s.LossWPerK, 1e-7)
	want.equal(t, "slope_dT", "se", s.ordinary(s.along(1)), 1e-7)
	want.equal(t, "slope_solar", "value", s.fit.coef[2], 1e-7)
	want.equal(t, "slope_solar", "se", s.ordinary(s.along(2)), 1e-7)
	references(t, "F", "lm heat~dT").equal(t, "slope_dT", "value", func() float64 {
		without, ok := line(samples, nil)
		require.True(t, ok)
		return without.LossWPerK
	}(), 1e-7)
}

// TestHoursAgainstR: a simulated house of one capacity and 200 W/K. R's lm() of
// the next hour's room temperature gives 202.3 W/K after five days to 201.4 after
// 21; its standard errors are those of the true model. Two capacities must agree
// within both intervals, and the interval must hold the truth.
func TestHoursAgainstR(t *testing.T) {
	const trueWPerK = 200
	rows := checktable.Read(t, filepath.Join(tables, "rc_hourly.csv"))
	var hours []hourly
	for i := range len(rows) - 1 {
		at := func(k int, name string) float64 { return checktable.Number(t, rows[k][name]) }
		hours = append(hours, hourly{
			outdoorC: at(i, "te_C"), roomC: (at(i, "ti_C") + at(i+1, "ti_C")) / 2, heatW: at(i, "heat_W"), sunWPerM2: at(i, "solar_W_m2"),
			rhythm: rhythmAt(float64(i%24) + 1), starts: i == 0,
		})
	}
	for _, row := range checktable.Read(t, filepath.Join(tables, "rc_results.csv")) {
		if row["quantity"] != "HLC=b_te/b_q [W/K]" {
			continue
		}
		days := int(checktable.Number(t, row["days"]))
		g, ok := greyBox(hours[:min(24*days, len(hours))], true)
		require.True(t, ok)
		half := math.Hypot(g.sureLoss().half(), structureRatio*g.LossWPerK)
		t.Logf("%2d days: %.1f ± %.1f W/K, R %s ± %.1f; gain %.2f K, room %.1f h, mass %.0f h, correlation %.2f",
			days, g.LossWPerK, half, row["value"], 1.96*checktable.Number(t, row["se"]), g.GainK, g.RoomH, g.MassH, g.Rho)
		assert.InDelta(t, trueWPerK, g.LossWPerK, half)
		assert.InDelta(t, checktable.Number(t, row["value"]), g.LossWPerK, math.Hypot(half, 1.96*checktable.Number(t, row["se"])))
		assert.Less(t, half, 0.12*trueWPerK)
	}
}

// TestWhiteside: weekly gas of a house before and after its walls were
// insulated, with the fit of Venables and Ripley, Modern Applied Statistics with
// S, 6.1: lm(Gas ~ Insul/Temp - 1). One residual standard error serves both.
func TestWhiteside(t *testing.T) {
	folder := os.Getenv("COLDWEEK_DATA")
	if folder == "" {
		folder = "../../../shared/data"
	}
	path := filepath.Join(folder, "whiteside", "whiteside.csv")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		t.Skipf("%s is not on this machine", path)
	}
	weeks := map[string][]sample{}
	for i, row := range checktable.Read(t, path) {
		weeks[row["Insul"]] = append(weeks[row["Insul"]], sample{day: i, outdoorC: checktable.Number(t, row["Temp"]), heatW: checktable.Number(t, row["Gas"])})
	}
	before, ok := line(weeks["Before"], nil)
	require.True(t, ok)
	after, ok := line(weeks["After"], nil)
	require.True(t, ok)
	s := math.Sqrt((before.fit.rss + after.fit.rss) / float64(before.fit.freedom+after.fit.freedom))
	assert.InDelta(t, 0.323, s, 0.0005)
	assert.Equal(t, 52, before.fit.freedom+after.fit.freedom)
	for _, c := range []struct {
		s                              *Signature
		zero, zeroSE, slopeK, slopeKSE float64
	}{{before, 6.85383, 0.13596, 0.39324, 0.02249}, {after, 4.72385, 0.11810, 0.27793, 0.02292}} {
		const digit = 0.51e-5
		assert.InDelta(t, c.zero, c.s.ZeroW, digit)
		assert.InDelta(t, c.slopeK, c.s.LossWPerK, digit)
		assert.InDelta(t, c.zeroSE, s*math.Sqrt(c.s.fit.bread.At(0, 0)), digit)
		assert.InDelta(t, c.slopeKSE, s*math.Sqrt(c.s.fit.bread.At(1, 1)), digit)
	}
}

// TestSunAbove: Duffie and Beckman's worked example, 33.8 MJ/m² on 15 April at
// 43° north (from memory); no sun in the polar night.
func TestSunAbove(t *testing.T) {
	april := time.Date(2025, 4, 15, 12, 0, 0, 0, time.UTC)
	assert.InDelta(t, 33.8e6/86400, sunAboveWPerM2(43, april), 0.1e6/86400)
	assert.InDelta(t, 0, sunAboveWPerM2(75, time.Date(2025, 12, 21, 12, 0, 0, 0, time.UTC)), 1e-9)
}

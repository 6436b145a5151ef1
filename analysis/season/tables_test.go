package season_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/season"
	"coldweek/ingest/checktable"
)

const kWhJ = 3.6e6

// readTable reads a table of testdata/season.
func readTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	return checktable.Read(t, "../../testdata/season/"+name)
}

func climate(t *testing.T, name string) season.Climate {
	t.Helper()
	for _, c := range season.Standard() {
		if c.Name == name {
			return c
		}
	}
	require.Fail(t, "no climate", name)
	return season.Climate{}
}

// TestBinsAgainstTable: hours, part load ratios and totals of the regulation.
func TestBinsAgainstTable(t *testing.T) {
	at := map[string]int{}
	for _, row := range readTable(t, "en14825.csv") {
		name := row["climate"]
		c := climate(t, name)
		if row["Tj_C"] == "TOTAL" {
			fullLoad := 0.0
			for _, b := range c.Bins {
				fullLoad += b.Hours * c.PartLoadRatio(b.OutdoorC)
			}
			assert.Len(t, c.Bins, at[name])
			assert.InDelta(t, checktable.Number(t, row["Hj_h"]), c.Hours(), 1e-9, name)
			assert.InDelta(t, checktable.Number(t, row["Hj_times_pl_h"]), fullLoad, 5e-5, name)
			assert.Equal(t, row["part_load_ratio"], "HHE_official="+strconv.Itoa(int(c.FullLoadHours)))
			continue
		}
		b := c.Bins[at[name]]
		at[name]++
		assert.InDelta(t, checktable.Number(t, row["Tdesignh_C"]), c.DesignC, 0)
		assert.InDelta(t, checktable.Number(t, row["Tj_C"]), b.OutdoorC, 0)
		assert.InDelta(t, checktable.Number(t, row["Hj_h"]), b.Hours, 0)
		assert.InDelta(t, checktable.Number(t, row["part_load_ratio"]), c.PartLoadRatio(b.OutdoorC), 5.1e-7)
		assert.InDelta(t, checktable.Number(t, row["Hj_times_pl_h"]), b.Hours*c.PartLoadRatio(b.OutdoorC), 5.1e-5)
	}
}

// TestConditionsAgainstTable: what the table tells of each climate besides.
func TestConditionsAgainstTable(t *testing.T) {
	of := map[string]func(c season.Climate) float64{
		"HHE_h":                 func(c season.Climate) float64 { return c.FullLoadHours },
		"Tdesignh_C (wet bulb)": func(c season.Climate) float64 { return c.DesignC },
		"HTO_h heating only":    func(c season.Climate) float64 { return c.Off.ThermostatOffHours },
		"HSB_h heating only":    func(c season.Climate) float64 { return c.Off.StandbyHours },
		"HCK_h heating only":    func(c season.Climate) float64 { return c.Off.CrankcaseHours },
		"HOFF_h heating only":   func(c season.Climate) float64 { return c.Off.OffHours },
		"pl at A -7":            func(c season.Climate) float64 { return c.PartLoadRatio(-7) },
		"pl at B 2":             func(c season.Climate) float64 { return c.PartLoadRatio(2) },
		"pl at C 7":             func(c season.Climate) float64 { return c.PartLoadRatio(7) },
		"pl at D 12":            func(c season.Climate) float64 { return c.PartLoadRatio(12) },
	}
	compared := 0
	for _, row := range readTable(t, "en14825_conditions.csv") {
		value, ok := of[row["item"]]
		if !ok {
			continue
		}
		for _, c := range season.Standard() {
			if want := strings.Fields(row[c.Name])[0]; want != "n/a" {
				assert.InDelta(t, checktable.Number(t, want), value(c), 5.1e-7, "%s, %s", row["item"], c.Name)
				compared++
			}
		}
	}
	assert.Equal(t, 29, compared)
}

// workedExamples are the table's machines: output in kW and COP at -10, -7, 2, 7
// and 12 °C.
var workedExamples = map[string][2][5]float64{
	"fixed_8kW_lowT":         {{6.2, 6.9, 8.4, 9.6, 10.8}, {2.50, 2.75, 3.60, 4.30, 4.95}},
	"variable_8kW_lowT":      {{6.5, 7.076923, 4.307692, 2.769231, 2.40}, {2.55, 2.90, 4.40, 5.90, 7.60}},
	"variable_8kW_mediumT55": {{6.3, 7.076923, 4.307692, 2.769231, 2.30}, {1.90, 2.10, 3.30, 4.40, 5.60}},
}

func declared(name string) season.Declared {
	d := season.Declared{DesignHeatW: 8000, Degradation: 0.9, ThermostatOffW: 15, StandbyW: 15, OffW: 10}
	for i, outdoorC := range []float64{-10, -7, 2, 7, 12} {
		m := workedExamples[name]
		d.Points = append(d.Points, season.DeclaredPoint{OutdoorC: outdoorC, CapacityW: 1000 * m[0][i], COP: m[1][i]})
	}
	return d
}

// TestWorkedSCOPs goes through every row of the three worked examples. Their
// outputs have six decimals, which the last digits of the results show.
func TestWorkedSCOPs(t *testing.T) {
	average := climate(t, "average")
	of := map[string]func(s season.SCOP) float64{
		"sum_Hj_Ph_kWh":              func(s season.SCOP) float64 { return s.ActiveHeatJ / kWhJ },
		"sum_electricity_active_kWh": func(s season.SCOP) float64 { return s.ActiveJ / kWhJ },
		"SCOPon":                     func(s season.SCOP) float64 { return s.On },
		"SCOPnet":                    func(s season.SCOP) float64 { return s.Net },
		"QH_kWh":                     func(s season.SCOP) float64 { return s.HeatJ / kWhJ },
		"QHE_kWh":                    func(s season.SCOP) float64 { return s.ElectricityJ / kWhJ },
		"SCOP":                       func(s season.SCOP) float64 { return s.SCOP },
		"eta_s_pct":                  func(s season.SCOP) float64 { return 100 * s.Efficiency },
	}
	compared := map[string]int{}
	for _, row := range readTable(t, "en14825_example.csv") {
		name := row["example"]
		d := declared(name)
		scop, rows := d.SCOP(average)
		compared[name]++
		switch row["Tj_C"] {
		case "RESULT":
			value := of[row["Hj_h"]]
			require.NotNil(t, value, row["Hj_h"])
			assert.InEpsilon(t, checktable.Number(t, row["part_load_ratio"]), value(scop), 1e-6, "%s %s", name, row["Hj_h"])
		case "COPBIN_AT_TEST":
			assert.InDelta(t, checktable.Number(t, row["part_load_ratio"]), d.Plant(average).COP(checktable.Number(t, row["Hj_h"])), 1e-6, "%s at %s", name, row["Hj_h"])
		default:
			outdoorC := checktable.Number(t, row["Tj_C"])
			r := rows[int(outdoorC)+10]
			for column, value := range map[string]float64{
				"Hj_h": r.Hours, "part_load_ratio": average.PartLoadRatio(outdoorC), "Ph_kW": r.NeedW / 1000, "Pdh_kW": r.CapacityW / 1000,
				"elbu_kW": r.BackupW / 1000, "COPbin": r.COP, "HjPh_kWh": r.HeatJ / kWhJ, "E_el_kWh": r.ElectricityJ / kWhJ,
			} {
				assert.InDelta(t, checktable.Number(t, row[column]), value, 1e-4, "%s %g %s", name, outdoorC, column)
			}
		}
	}
	for name := range workedExamples {
		assert.Equal(t, 39, compared[name], name)
	}
}

// TestSCOPsInTheText: the figures as they are quoted.
func TestSCOPsInTheText(t *testing.T) {
	average := climate(t, "average")
	variable, _ := declared("variable_8kW_lowT").SCOP(average)
	fixed, _ := declared("fixed_8kW_lowT").SCOP(average)
	medium, _ := declared("variable_8kW_mediumT55").SCOP(average)
	for _, c := range []struct{ want, got, lastDigit float64 }{
		{4.51589, variable.On, 1e-5}, {4.55278, variable.Net, 1e-5}, {4.46779, variable.SCOP, 1e-5}, {175.71, 100 * variable.Efficiency, 1e-2},
		{3.15428, fixed.On, 1e-5}, {3.36624, medium.On, 1e-5},
	} {
		assert.InDelta(t, c.want, c.got, 0.51*c.lastDigit)
	}
}

// TestDegreeDaysAgainstTable: 90 days of hourly temperatures, months of 30 days.
func TestDegreeDaysAgainstTable(t *testing.T) {
	const daysPerMonth = 30
	var hourlyC, meanC, lowestC, highestC []float64
	for _, row := range readTable(t, "degreedays_hourly.csv") {
		hourlyC = append(hourlyC, checktable.Number(t, row["te_C"]))
	}
	require.Len(t, hourlyC, 90*24)
	for d := 0; d < len(hourlyC); d += 24 {
		day := hourlyC[d : d+24]
		meanC = append(meanC, stat.Mean(day, nil))
		lowest, highest := math.Inf(1), math.Inf(-1)
		for _, c := range day {
			lowest, highest = min(lowest, c), max(highest, c)
		}
		lowestC, highestC = append(lowestC, lowest), append(highestC, highest)
	}
	for _, row := range readTable(t, "degreedays_expected.csv") {
		baseC := checktable.Number(t, row["base_C"])
		metOffice, hitchin, hitchinOwn := 0.0, 0.0, 0.0
		for d := range meanC {
			metOffice += season.MetOfficeDegreeDays(lowestC[d], highestC[d], baseC)
		}
		for m := 0; m < len(meanC); m += daysPerMonth {
			mean, sigma := stat.MeanStdDev(meanC[m:m+daysPerMonth], nil)
			hitchin += season.HitchinDegreeDays(daysPerMonth, mean, baseC, season.HitchinK)
			hitchinOwn += season.HitchinDegreeDays(daysPerMonth, mean, baseC, season.HitchinKOf(sigma))
		}
		for column, value := range map[string]float64{
			"hourly_mean_degree_hours": season.HourlyDegreeDays(hourlyC, baseC), "daily_mean": season.DailyDegreeDays(meanC, baseC),
			"met_office_max_min": metOffice, "hitchin_k0.71": hitchin, "hitchin_k_2.5_over_sigma": hitchinOwn,
		} {
			assert.InDelta(t, checktable.Number(t, row[column]), value, 5.1e-5, "%s at base %g", column, baseC)
		}
	}
}

// TestHitchinAtTheBase: where the formula would divide nothing by nothing it
// gives its limit.
func TestHitchinAtTheBase(t *testing.T) {
	assert.InDelta(t, season.HitchinDegreeDays(30, 15.5-1e-6, 15.5, 0.71), season.HitchinDegreeDays(30, 15.5, 15.5, 0.71), 1e-3)
}

// TestWorkedValues: heat of degree days, and break-even SPFs.
func TestWorkedValues(t *testing.T) {
	compared := 0
	for _, row := range readTable(t, "worked_values.csv") {
		want := checktable.Number(t, row["value"])
		switch row["section"] {
		case "12":
			assert.InDelta(t, want, season.DegreeDayHeatJ(200, 2000)/kWhJ, 1e-9)
		case "16":
			of := strings.Fields(strings.NewReplacer(":", " ", "/", " ", "eta", " ").Replace(row["quantity"]))
			n := len(of)
			assert.InDelta(t, want, season.BreakEvenSPF(checktable.Number(t, of[n-3]), checktable.Number(t, of[n-2]), checktable.Number(t, of[n-1])), 1e-9, row["quantity"])
		default:
			continue
		}
		compared++
	}
	assert.Equal(t, 7, compared)
}

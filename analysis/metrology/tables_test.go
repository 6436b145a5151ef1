package metrology

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/fluid"
)

// row is a line of testdata/metrology/metrology.csv, whose first line names its
// sources: Directive 2014/32/EU, EN 1434-1 as quoted by a maker, IEC 60751.
type row struct {
	kind, class, parameter, x, value, note string
}

func readRows(t *testing.T) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "metrology", "metrology.csv"))
	require.NoError(t, err)
	defer f.Close()
	reader := csv.NewReader(f)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"kind", "class", "parameter", "x", "value_pct", "note"}, records[0])
	var rows []row
	for _, r := range records[1:] {
		rows = append(rows, row{r[0], r[1], r[2], r[3], r[4], r[5]})
	}
	return rows
}

// equal compares with a printed number, to half of its last digit.
func equal(t *testing.T, printed string, got float64, msg string) {
	t.Helper()
	digit := 1.0
	if _, decimals, found := strings.Cut(printed, "."); found {
		for range decimals {
			digit /= 10
		}
	}
	assert.InDelta(t, number(t, printed), got, 0.501*digit, msg)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

// numbersIn returns the printed numbers of a text that follow the given words.
func numbersIn(t *testing.T, text string, pattern string) []string {
	t.Helper()
	found := regexp.MustCompile(pattern).FindStringSubmatch(text)
	require.NotNil(t, found, "%q does not match %q", text, pattern)
	return found[1:]
}

// TestEveryRowOfTheTable checks each printed figure of the table against the
// package, and that no row was passed over.
func TestEveryRowOfTheTable(t *testing.T) {
	checks := map[string]func(*testing.T, row){
		"flow_sensor_Ef":      checkFlowSensor,
		"sensor_pair_Et":      checkSensorPair,
		"calculator_Ec":       checkCalculator,
		"MID_active_energy":   checkActiveEnergy,
		"worked_heat_and_COP": checkWorked,
		"worked_heat_power":   checkHeatPower,
		"dT_offset_effect":    checkOffset,
		"IEC60751_tolerance":  checkTolerance,
	}
	seen := map[string]int{}
	for _, r := range readRows(t) {
		check, known := checks[r.kind]
		require.True(t, known, r.kind)
		check(t, r)
		seen[r.kind]++
	}
	assert.Equal(t, map[string]int{
		"flow_sensor_Ef": 33, "sensor_pair_Et": 25, "calculator_Ec": 25, "MID_active_energy": 24,
		"worked_heat_and_COP": 45, "worked_heat_power": 1, "dT_offset_effect": 28, "IEC60751_tolerance": 12,
	}, seen)
}

func checkFlowSensor(t *testing.T, r row) {
	const flowLPH = 100
	class, err := strconv.Atoi(r.class)
	require.NoError(t, err)
	m := HeatMeter{Class: HeatClass(class), PermanentFlowLPH: number(t, r.x) * flowLPH, MinimumDifferenceK: 3}
	equal(t, r.value, m.LimitsAt(flowLPH, 5)[0], fmt.Sprint(r))
}

func minimumDifference(t *testing.T, r row) HeatMeter {
	t.Helper()
	minimumK := numbersIn(t, r.parameter, `dTmin=(\d+) K`)[0]
	return HeatMeter{Class: HeatClass2, PermanentFlowLPH: 2500, MinimumDifferenceK: number(t, minimumK)}
}

func checkSensorPair(t *testing.T, r row) {
	equal(t, r.value, minimumDifference(t, r).LimitsAt(1200, number(t, r.x))[1], fmt.Sprint(r))
}

func checkCalculator(t *testing.T, r row) {
	equal(t, r.value, minimumDifference(t, r).LimitsAt(1200, number(t, r.x))[2], fmt.Sprint(r))
}

// checkActiveEnergy asks at every end of the printed temperature ranges, and
// just inside.
func checkActiveEnergy(t *testing.T, r row) {
	load := map[string]Load{"Imin<=I<Itr": LoadBelowTransition, "Itr<=I<=Imax": LoadNormal}[r.parameter]
	edges := map[string][]float64{
		"5..30 C":              {5, 20, 30},
		"-10..5 or 30..40 C":   {-10, 4.9, 30.1, 40},
		"-25..-10 or 40..55 C": {-25, -10.1, 40.1, 55},
		"-40..-25 or 55..70 C": {-40, -25.1, 55.1, 70},
	}[r.x]
	require.NotEmpty(t, edges, r.x)
	for _, ambientC := range edges {
		got, ok := ElectricityClass(r.class).LimitPct(load, ambientC)
		require.True(t, ok)
		assert.Equal(t, number(t, r.value), got, "%v at %v °C", r, ambientC)
	}
}

func checkWorked(t *testing.T, r row) {
	n := numbersIn(t, r.parameter, `q=([\d.]+) m3/h qp=([\d.]+) dT=([\d.]+) K dTmin=([\d.]+) K`)
	heatClass := numbersIn(t, r.class, `heat class (\d)`)[0]
	m := HeatMeter{
		Class: HeatClass(number(t, heatClass)), PermanentFlowLPH: 1000 * number(t, n[1]), MinimumDifferenceK: number(t, n[3]),
	}
	heat := m.LimitsAt(1000*number(t, n[0]), number(t, n[2]))
	const value = `([\d.]+)`
	want := numbersIn(t, r.note, `heat: Ef=`+value+` Et=`+value+` Ec=`+value+` linear MPE=`+value+` rss=`+value+
		` std\(rect\)=`+value+` 95pct\(k=2\)=`+value+` \| COP: linear=`+value+` rss=`+value+` 95pct\(k=2\)=`+value)
	electricityPct, ok := ElectricityClass(numbersIn(t, r.class, `elec class (\w)`)[0]).LimitPct(LoadNormal, 20)
	require.True(t, ok)
	cop := append(append(Limits{}, heat...), electricityPct)
	got := []float64{
		heat[0], heat[1], heat[2], heat.LinearPct(), heat.RootSumSquarePct(), heat.ExpandedPct() / 2, heat.ExpandedPct(),
		cop.LinearPct(), cop.RootSumSquarePct(), cop.ExpandedPct(),
	}
	for i := range want {
		equal(t, want[i], got[i], fmt.Sprint(r))
	}
	equal(t, r.value, heat.LinearPct(), fmt.Sprint(r))
}

// checkHeatPower ties the working point to the heat it stands for.
func checkHeatPower(t *testing.T, r row) {
	require.Equal(t, "q=1.2 m3/h dT=5 35/30", r.parameter)
	equal(t, r.value, fluid.Water().HeatPowerW(1200, 35, 30, fluid.MeterInReturn)/1000, fmt.Sprint(r))
}

func checkOffset(t *testing.T, r row) {
	n := numbersIn(t, r.parameter, `pair error ([\d.]+) K at dT ([\d.]+) K`)
	equal(t, r.value, PairErrorPct(number(t, n[0]), number(t, n[1])), fmt.Sprint(r))
}

func checkTolerance(t *testing.T, r row) {
	class := map[string]SensorClass{"AA": SensorClassAA, "A": SensorClassA, "B": SensorClassB}[r.class]
	toleranceK := ToleranceK(class, number(t, r.x))
	equal(t, r.value, toleranceK, fmt.Sprint(r))
	pair := numbersIn(t, r.note, `worst-case dT error = 2x = ([\d.]+) K = ([\d.]+) pct at dT 5 K`)
	equal(t, pair[0], 2*toleranceK, fmt.Sprint(r))
	equal(t, pair[1], PairErrorPct(2*toleranceK, 5), fmt.Sprint(r))
}

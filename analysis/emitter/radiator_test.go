package emitter_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/emitter"
)

// table reads the rows of one kind of testdata/emitter/emitters.csv, whose first
// line names its sources: four parameters and the value.
func table(t *testing.T, kind string) [][]string {
	t.Helper()
	file, err := os.Open("../../testdata/emitter/emitters.csv")
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	lines, err := reader.ReadAll()
	require.NoError(t, err)
	var rows [][]string
	for _, line := range lines {
		if line[0] == kind {
			rows = append(rows, line[1:6])
		}
	}
	require.NotEmpty(t, rows)
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	_, after, found := strings.Cut(text, "=")
	if !found {
		after = text
	}
	v, err := strconv.ParseFloat(after, 64)
	require.NoError(t, err)
	return v
}

func TestRadiatorsByEN442(t *testing.T) {
	for _, row := range table(t, "EN442_factor") {
		r := emitter.Radiator{OutputW: 1, RatedAtK: number(t, row[2]), Exponent: number(t, row[0])}
		assert.InDelta(t, number(t, row[4]), r.At(number(t, row[1])), 5.1e-6, row)
		assert.InDelta(t, number(t, row[1]), r.ExcessFor(r.At(number(t, row[1]))), 1e-9)
	}
}

func TestExcessTemperatures(t *testing.T) {
	for _, row := range table(t, "excess") {
		flowC, returnC, roomC, want := number(t, row[0]), number(t, row[1]), number(t, row[2]), number(t, row[4])
		even := (returnC-roomC)/(flowC-roomC) >= 0.7
		r := emitter.Radiator{OutputW: 1}
		switch what := row[3]; {
		case what == "log":
			assert.InDelta(t, want, emitter.LogExcessK(flowC, returnC, roomC), 5.1e-5, row)
		case what == "arith" && even:
			assert.InDelta(t, want, emitter.ExcessK(flowC, returnC, roomC), 5.1e-5, row)
		case what == "Phi/PhiN n=1.3 arith" && even:
			assert.InDelta(t, want, r.Between(flowC, returnC, roomC), 5.1e-6, row)
		case strings.HasPrefix(what, "Phi/PhiN n=1.3 log (ref") && !even:
			assert.InDelta(t, want, r.Between(flowC, returnC, roomC), 5.1e-6, row)
		}
	}
}

// TestCirculatedBalances: what the water loses is what the radiator gives, at
// any flow; a large flow gives the output at the flow's excess, and the rating's
// own flow gives the rating (EN 442: 75/65/20).
func TestCirculatedBalances(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const jPerLK = 4120.0
	for range 1000 {
		r := emitter.Radiator{OutputW: 300 + 2700*random.Float64(), Exponent: 1.1 + 0.35*random.Float64()}
		roomC := 15 + 8*random.Float64()
		flowC, lph := roomC+1+45*random.Float64(), math.Exp(7*random.Float64())
		heatW, returnC := r.Circulated(flowC, roomC, lph, jPerLK)
		assert.InEpsilon(t, lph/3600*jPerLK*(flowC-returnC), heatW, 1e-6)
		// 1.4 % of output lies between both means where one gives way to the other.
		assert.InEpsilon(t, r.Between(flowC, returnC, roomC), heatW, 0.015)
	}
	r := emitter.Radiator{OutputW: 1000}
	heatW, returnC := r.Circulated(75, 20, 1000/(10*jPerLK)*3600, jPerLK)
	assert.InDelta(t, 1000, heatW, 0.01)
	assert.InDelta(t, 65, returnC, 0.001)
	heatW, _ = r.Circulated(45, 20, 1e7, jPerLK)
	assert.InDelta(t, 406.13, heatW, 0.1) // 0.40613 of the rating, physics of EN 442 at 25 K
}

func TestNothingGivesNothing(t *testing.T) {
	r := emitter.Radiator{OutputW: 1000}
	for _, c := range [][3]float64{{20, 20, 100}, {18, 20, 100}, {45, 20, 0}} {
		heatW, returnC := r.Circulated(c[0], c[1], c[2], 4120)
		assert.Zero(t, heatW)
		assert.InDelta(t, c[1], returnC, 0)
	}
	assert.Zero(t, r.At(-3))
	assert.Zero(t, emitter.ExcessK(40, 19, 20))
	assert.Zero(t, emitter.FloorWM2(19, 20))
}

func TestFloorsByEN1264(t *testing.T) {
	for _, row := range table(t, "EN1264_base") {
		assert.InDelta(t, number(t, row[4]), emitter.FloorWM2(20+number(t, row[0]), 20), 5.1e-4, row)
	}
	for _, row := range table(t, "EN1264_inverse") {
		assert.InDelta(t, number(t, row[4]), emitter.FloorSurfaceC(number(t, row[0]), 0), 5.1e-5, row)
	}
	limitC := map[string]float64{"occupied": emitter.OccupiedLimitC, "peripheral": emitter.PerimeterLimitC}
	for _, row := range table(t, "EN1264_limit") {
		name, _, _ := strings.Cut(row[0], " ")
		roomC := number(t, row[2])
		surfaceC, ok := limitC[name]
		if !ok {
			surfaceC = roomC + emitter.BathroomLimitK
		}
		assert.InDelta(t, number(t, row[1]), surfaceC, 0, row)
		assert.InDelta(t, number(t, row[4]), emitter.FloorWM2(surfaceC, roomC), 5.1e-3, row)
	}
}

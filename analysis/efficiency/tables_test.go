package efficiency_test

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/analysis/efficiency"
	"coldweek/ingest/checktable"
)

// readTable reads a check table; it skips the test when the file is not there.
func readTable(t *testing.T, path string) []map[string]string {
	t.Helper()
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		t.Skipf("%s is not on this machine", path)
	}
	return checktable.Read(t, path)
}

// TestCarnotAgainstTable: testdata/efficiency/carnot.csv names its sources; its
// COP curves are those of Ruhnau, Hirth and Praktiknjo, Sci Data 6:189 (2019).
func TestCarnotAgainstTable(t *testing.T) {
	for _, row := range readTable(t, "../../testdata/efficiency/carnot.csv") {
		flowC, outdoorC := checktable.Number(t, row["t_sink_C"]), checktable.Number(t, row["t_source_C"])
		assert.InDelta(t, checktable.Number(t, row["COP_carnot"]), efficiency.CarnotCOP(outdoorC, flowC), 5.1e-5)
		// The table's COP has four decimals: half a unit of the last, by Carnot's.
		for _, curve := range []string{"ASHP_curve", "ASHP_curve_x0.85", "GSHP_curve"} {
			column := map[string]string{"ASHP_curve": "eta_carnot_ASHP", "ASHP_curve_x0.85": "eta_carnot_ASHP_x0.85", "GSHP_curve": "eta_carnot_GSHP"}[curve]
			assert.InDelta(t, checktable.Number(t, row[column]), efficiency.ShareOfCarnot(checktable.Number(t, row[curve]), outdoorC, flowC), 7e-5)
		}
	}
}

// TestCarnotInTheText: "COP_C = Tf/(Tf - Ts) kelvin", worked for 35/-7, 45/2 and
// 55/7: 7.337, 7.399, 6.836, by hand from 273.15 K.
func TestCarnotInTheText(t *testing.T) {
	assert.InDelta(t, 308.15/42, efficiency.CarnotCOP(-7, 35), 1e-9)
	assert.InDelta(t, 7.399, efficiency.CarnotCOP(2, 45), 5e-4)
	assert.InDelta(t, 6.836, efficiency.CarnotCOP(7, 55), 5e-4)
}

// TestLeavingOneTestPointOut leaves each test point of six machines out in turn
// (EN 14511 tables collected in RWTH-EBC/AixLib, 3-clause BSD, of WPZ Buchs and
// of makers) and asks for it from the others. Points on the rim cannot be had.
func TestLeavingOneTestPointOut(t *testing.T) {
	rows := readTable(t, "/work/shared/data/en14511_tables/en14511_tables.csv")
	byDevice := map[string][]efficiency.Point{}
	for _, row := range rows {
		byDevice[row["device"]] = append(byDevice[row["device"]], efficiency.Point{
			OutdoorC: checktable.Number(t, row["T_source_C"]), FlowC: checktable.Number(t, row["T_water_out_C"]), COP: checktable.Number(t, row["cop_quotient"])})
	}
	var byShare, byCOP errorsOf
	rim := 0
	for device, points := range byDevice {
		for i, p := range points {
			others := append(append([]efficiency.Point{}, points[:i]...), points[i+1:]...)
			cop, ok := efficiency.NewLaboratory(others).COP(p.OutdoorC, p.FlowC)
			if !ok {
				rim++
				continue
			}
			byShare.add(cop/p.COP - 1)
			plain, ok := interpolatedCOP(others, p)
			require.True(t, ok)
			byCOP.add(plain/p.COP - 1)
			t.Logf("%-22s A%g/W%g: COP %.2f, from the others %.2f (%+.1f %%), straight in COP %+.1f %%", device, p.OutdoorC, p.FlowC, p.COP, cop, 100*(cop/p.COP-1), 100*(plain/p.COP-1))
		}
	}
	t.Logf("%d points: share of Carnot misses by %.1f %% rms, %.1f %% at most; COP by %.1f %% rms, %.1f %% at most; %d on the rim are not known",
		byShare.n, 100*byShare.rms(), 100*byShare.most, 100*byCOP.rms(), 100*byCOP.most, rim)
	assert.Less(t, byShare.rms(), byCOP.rms(), "the share of Carnot is the smoother of the two")
	assert.Less(t, byShare.rms(), 0.05, "between points twice as far apart as in use")
}

// interpolatedCOP does with the COP what Laboratory does with the share: points
// whose Carnot COP is 1 stand for it.
func interpolatedCOP(points []efficiency.Point, p efficiency.Point) (float64, bool) {
	flat := make([]efficiency.Point, len(points))
	for i, o := range points {
		flat[i] = efficiency.Point{OutdoorC: o.OutdoorC, FlowC: o.FlowC, COP: o.COP * efficiency.CarnotCOP(o.OutdoorC, o.FlowC)}
	}
	return efficiency.NewLaboratory(flat).Share(p.OutdoorC, p.FlowC)
}

type errorsOf struct {
	n       int
	squares float64
	most    float64
}

func (e *errorsOf) add(off float64) {
	e.n++
	e.squares += off * off
	e.most = max(e.most, math.Abs(off))
}

func (e *errorsOf) rms() float64 { return math.Sqrt(e.squares / float64(e.n)) }

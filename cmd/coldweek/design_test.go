package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a note says first, and how the command ends, for the pipework of
// practice (testdata/pipework; expected verdicts in each record).
func TestDesignOfPractice(t *testing.T) {
	check := func(name string, code int, parts ...string) {
		t.Helper()
		out, errOut, got := coldweek(t, "design", "../../testdata/pipework/"+name+".yaml")
		assert.Equal(t, code, got, errOut)
		for _, part := range parts {
			assert.Contains(t, out, part)
		}
	}
	check("one-22", exitFailed, "DOES NOT RUN without separation: short of 15.6 kPa at 1737 l/h",
		`The leg that costs most is "along the house" (22x0.9 copper, 24 m)`, "28x0.9 in place of 22x0.9", "Cautions:")
	check("two-22", 0, "RUNS without separation: at 1737 l/h", "9.6 kPa to spare")
	check("one-28", 0, "RUNS without separation", `"along the house": 341 Pa/m is above 300 Pa/m.`)
	check("step-35-28", 0, "RUNS without separation", "primaries > upper floor")
	check("floors", 0, `pump on "2"`, "set each to l/min", "propylene glycol 25 % by volume")
}

func TestDesignWithoutPumpCurveIsNotKnown(t *testing.T) {
	file := filepath.Join(t.TempDir(), "draft.yaml")
	record := "id: draft\ntime_zone: UTC\npipework: {legs: [{name: run, material: copper, size: 22x0.9, length_m: 20, serves_kw: 5}]}\n"
	require.NoError(t, os.WriteFile(file, []byte(record), 0o600))
	out, _, code := coldweek(t, "design", file)
	assert.Equal(t, exitFailed, code)
	for _, part := range []string{
		"NOT KNOWN whether it runs without separation: no pump curve is given. The pump must have at least 6.9 kPa left for the pipework at 868 l/h.",
		"largest load   not known", "- a flow temperature of 45 °C", "- 5 K between flow and return", "- water", `none are listed: "run"`,
	} {
		assert.Contains(t, out, part)
	}
}

// The keys of the JSON are for other programs; what is not known is null.
func TestDesignAsJSON(t *testing.T) {
	var r struct {
		Site, Verdict string
		FlowLPH       float64  `json:"flow_lph"`
		SpareKPa      *float64 `json:"spare_kpa"`
		LargestKW     *float64 `json:"largest_load_kw"`
		Index         []string `json:"index_circuit"`
		Legs          []struct {
			Name   string
			Parent *string
			Loss   float64  `json:"loss_kpa"`
			Open   *float64 `json:"open_flow_lph"`
		}
	}
	out, _, code := coldweek(t, "design", "../../testdata/pipework/one-22.yaml", "--json")
	assert.Equal(t, exitFailed, code)
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	assert.Equal(t, "does_not", r.Verdict)
	assert.Equal(t, "one-22", r.Site)
	assert.InEpsilon(t, 1736.6, r.FlowLPH, 1e-3) // testdata/pipework/pipe_example.csv
	assert.Negative(t, *r.SpareKPa)
	assert.Less(t, *r.LargestKW, 10.0)
	assert.Equal(t, []string{"along the house", "upper floor"}, r.Index)
	require.Len(t, r.Legs, 3)
	assert.Nil(t, r.Legs[0].Parent)
	assert.Equal(t, "along the house", *r.Legs[1].Parent)
	assert.InDelta(t, r.FlowLPH, *r.Legs[1].Open+*r.Legs[2].Open, 1e-6)
}

func TestDesignSaysWhatIsWrong(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	check := func(code int, want string, args ...string) {
		t.Helper()
		_, errOut, got := coldweek(t, append([]string{"design", "--home", dir}, args...)...)
		assert.Equal(t, code, got)
		assert.Contains(t, errOut, want)
	}
	check(exitUsage, "accepts 1 arg(s)")
	check(exitUsage, `did you mean "mill-cottage"?`, "mil-cottage")
	check(exitUsage, "no such file", filepath.Join(dir, "draft.yaml"))
	check(exitFailed, "the record has no pipework; list the legs", "mill-cottage")
	bad := filepath.Join(dir, "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("id: bad\ntime_zone: UTC\npipework: {legs: []}\n"), 0o600))
	check(exitUsage, "bad.yaml:3:11: pipework: has no legs", bad)
}

// The record in the help is one that works.
func TestDesignExampleRuns(t *testing.T) {
	dir := newHome(t, "mill-cottage", designExample)
	out := must(t, "design", "mill-cottage", "--home", dir)
	assert.Contains(t, out, "mill-cottage: pipework without separation\n\nRUNS without separation")
	help := must(t, "design", "--help")
	assert.Contains(t, help, indent(designExample))
}

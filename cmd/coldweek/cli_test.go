package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/ingest"
	"coldweek/ingest/store"
	"coldweek/ingest/store/journal"
)

// coldweek runs a command line and returns what it printed and its exit code.
func coldweek(t *testing.T, args ...string) (out, errOut string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(context.Background(), args, streams{strings.NewReader(""), &stdout, &stderr})
	return stdout.String(), stderr.String(), code
}

// must runs a command line that has to succeed.
func must(t *testing.T, args ...string) string {
	t.Helper()
	out, errOut, code := coldweek(t, args...)
	require.Zero(t, code, "coldweek %s\n%s%s", strings.Join(args, " "), out, errOut)
	return out
}

// newHome makes a deployment with one site.
func newHome(t *testing.T, id, record string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "home")
	must(t, "init", dir)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sites", id+".yaml"), []byte(record), 0o600))
	return dir
}

// TestTelemetryDayByCommandLine loads the check day of testdata/telemetry
// through a mapped file and compares with its independently computed results.
func TestTelemetryDayByCommandLine(t *testing.T) {
	dir := newHome(t, "check-day", `id: check-day
time_zone: UTC
channels:
  outdoor_temp: {column: te_C, unit: Cel}
  flow_rate: {column: flow_l_h, unit: L/h}
  flow_temp: {column: tf_C, unit: Cel}
  return_temp: {column: tr_C, unit: Cel}
  power: {column: power_W, unit: W}
`)
	file := telemetryFile(t, time.Date(2026, 1, 14, 0, 0, 0, 0, time.UTC))
	first := must(t, "load", "check-day", file, "--home", dir)
	assert.Contains(t, first, "2827 rows, 14135 readings")
	assert.Contains(t, first, "14135 new or changed")
	assert.Contains(t, must(t, "load", "check-day", file, "--home", dir), "; 0 new or changed", "loading twice changes nothing")

	var r struct {
		Coverage float64
		Heat     struct {
			Net    float64 `json:"net_kwh"`
			Drawn  float64 `json:"defrost_drawn_kwh"`
			Water  float64 `json:"hot_water_kwh"`
			Source string
		}
		Electricity struct {
			Total   float64 `json:"total_kwh"`
			Standby float64 `json:"standby_kwh"`
		}
		Efficiency struct{ Overall float64 }
		Defrost    struct{ Count int }
		Cycling    struct {
			Starts int
			Median float64 `json:"median_run_minutes"`
			Short  int     `json:"short_runs"`
		}
	}
	out := must(t, "analyse", "check-day", "--home", dir, "--from", "2026-01-14", "--to", "2026-01-15", "--json")
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	// Figures: testdata/telemetry/expected.csv at maxgap 120 s.
	assert.InEpsilon(t, 124.93, r.Heat.Net, 0.0005)
	assert.InEpsilon(t, 32.296304, r.Electricity.Total, 0.0001)
	assert.InEpsilon(t, 3.8679, r.Efficiency.Overall, 0.0005)
	assert.InDelta(t, 84840.0/86400, r.Coverage, 1e-6)
	assert.InDelta(t, 0.054111, r.Electricity.Standby, 0.001)
	assert.InEpsilon(t, 5.799263, r.Heat.Water, 0.01)
	assert.InEpsilon(t, 2.204273, r.Heat.Drawn, 0.02)
	assert.Equal(t, "integrated", r.Heat.Source)
	assert.Equal(t, 7, r.Defrost.Count)
	assert.Equal(t, 13, r.Cycling.Starts)
	assert.InDelta(t, 4, r.Cycling.Median, 0.01)
	assert.Equal(t, 10, r.Cycling.Short)
}

// telemetryFile gives the check day's seconds since midnight a date.
func telemetryFile(t *testing.T, midnight time.Time) string {
	t.Helper()
	source, err := os.Open("../../testdata/telemetry/day.csv")
	require.NoError(t, err)
	defer source.Close()
	reader := csv.NewReader(source)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "day.csv")
	file, err := os.Create(path)
	require.NoError(t, err)
	writer := csv.NewWriter(file)
	for i, row := range rows {
		row = row[:6] // without the truth
		if i == 0 {
			row[0] = "time"
		} else {
			seconds, err := strconv.Atoi(row[0])
			require.NoError(t, err)
			row[0] = strconv.FormatInt(midnight.Unix()+int64(seconds), 10)
		}
		require.NoError(t, writer.Write(row))
	}
	writer.Flush()
	require.NoError(t, writer.Error())
	require.NoError(t, file.Close())
	return path
}

// contract is every key of `analyse --json`; a dot goes into an object, [] into
// the elements of a list.
const contract = `capacity capacity.at_design_kw capacity.backup_hours capacity.share_of_time_at_full
comfort comfort.rooms
coverage
cycling cycling.median_run_minutes cycling.run_hours cycling.runs cycling.runs[].from cycling.runs[].kind cycling.runs[].to
cycling.short_runs cycling.starts cycling.starts_per_run_hour
days days[].coverage days[].date days[].defrosts days[].electricity_kwh days[].hot_water_kwh days[].net_kwh days[].outdoor_c
days[].room_c days[].space_kwh days[].starts
defrost defrost.count defrost.drawn_kwh defrost.episodes defrost.episodes[].drawn_kwh defrost.episodes[].from
defrost.episodes[].outdoor_c defrost.episodes[].to defrost.median_interval_minutes defrost.median_minutes defrost.minutes
defrost.share_of_electricity defrost.share_of_run_time
efficiency efficiency.boundary efficiency.high efficiency.hot_water efficiency.low efficiency.overall efficiency.space
electricity electricity.backup_kwh electricity.defrost_kwh electricity.hot_water_kwh electricity.space_kwh
electricity.standby_kwh electricity.total_kwh
findings
flow flow.commissioned_lph flow.design_lph flow.median_difference_k flow.median_lph flow.minimum_lph flow.p10_lph
flow.trend_pct_per_week
from
heat heat.defrost_drawn_kwh heat.hot_water_kwh heat.net_kwh heat.source heat.space_kwh heat.uncertainty_pct
heat_loss heat_loss.at_design_kw heat_loss.base_c heat_loss.days heat_loss.design_kw heat_loss.high_kw heat_loss.low_kw
heat_loss.net_at_design_kw heat_loss.net_high_kw heat_loss.net_low_kw heat_loss.ratio heat_loss.verdict heat_loss.w_per_k
heat_loss.w_per_k_high heat_loss.w_per_k_low heat_loss.why
heating_curve heating_curve.fitted heating_curve.fitted.flow_at_design_c heating_curve.fitted.hours
heating_curve.fitted.rms_k heating_curve.fitted.slope_k_per_k heating_curve.gap_at_design_k heating_curve.set
heating_curve.set.flow_at_design_c heating_curve.set.slope_k_per_k
hot_water hot_water.runs hot_water.runs[].electricity_kwh hot_water.runs[].from hot_water.runs[].heat_kwh
hot_water.runs[].peak_flow_c hot_water.runs[].to
site
to`

func TestJSONHasExactlyTheKeysOfTheContract(t *testing.T) {
	dir := newHome(t, "plant-4", "id: plant-4\ntime_zone: Europe/London\n")
	csvPath := filepath.Join(t.TempDir(), "plant.csv")
	must(t, "rig", "csv", "--seed", "4", "--from", "2026-01-05", "--days", "2", "--out", csvPath)
	must(t, "load", "plant-4", csvPath, "--home", dir)
	var answer map[string]any
	out := must(t, "analyse", "plant-4", "--home", dir, "--from", "2026-01-05", "--to", "2026-01-07", "--json")
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	found := map[string]bool{}
	collectKeys(found, "", answer)
	keys := make([]string, 0, len(found))
	for k := range found {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	want := strings.Fields(contract)
	sort.Strings(want)
	assert.Equal(t, want, keys)
}

func collectKeys(found map[string]bool, path string, value any) {
	switch v := value.(type) {
	case map[string]any:
		for k, inner := range v {
			at := strings.TrimPrefix(path+"."+k, ".")
			found[at] = true
			collectKeys(found, at, inner)
		}
	case []any:
		for _, inner := range v {
			collectKeys(found, path+"[]", inner)
		}
	}
}

func TestExitCodesAndErrorsSayWhatWouldBeRight(t *testing.T) {
	dir := newHome(t, "mill-cottage", "id: mill-cottage\ntime_zone: Europe/London\n")
	check := func(wantCode int, want string, args ...string) {
		t.Helper()
		out, errOut, code := coldweek(t, append(args, "--home", dir)...)
		assert.Equal(t, wantCode, code, args)
		assert.Contains(t, out+errOut, want, args)
	}
	check(2, `did you mean "analyse"?`, "analyze")
	check(2, `did you mean "mill-cottage"?`, "analyse", "mill-cotage")
	check(2, "write it as 2026-01-31", "analyse", "mill-cottage", "--from", "1.1.2026", "--to", "2026-01-03")
	check(2, "is empty", "analyse", "mill-cottage", "--from", "2026-01-03", "--to", "2026-01-03")
	check(2, "usage: coldweek load", "load", "mill-cottage")
	check(1, "no such file", "load", "mill-cottage", filepath.Join(dir, "missing.csv"))
	check(2, "did you mean", "rig", "csv", "--trouble", "low_flo")
	check(2, "exists already", "site", "new", "mill-cottage")
	check(0, "nothing was refused", "quarantine")

	require.NoError(t, os.WriteFile(filepath.Join(dir, "sites", "mill-cottage.yaml"), []byte("id: mill-cottage\ntime_zone: Europe/Londn\n"), 0o600))
	check(1, `did you mean "Europe/London"?`, "site", "check")
	_, errOut, code := coldweek(t, "analyse", "mill-cottage", "--home", t.TempDir())
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, "holds no coldweek deployment")
}

// TestABackupTakesThePlaceOfTheDataFolder: readings, what engineers are still to be
// told, and what waits for InfluxDB.
func TestABackupTakesThePlaceOfTheDataFolder(t *testing.T) {
	h := notifyHome(t, "  mqtt: {url: 'tcp://127.0.0.1:1'}\n  engineers:\n    - {name: Ada, mqtt: {topic: firm}, time_zone: UTC}\n")
	csvPath := filepath.Join(t.TempDir(), "plant.csv")
	must(t, "rig", "csv", "--seed", "2", "--from", "2026-01-05", "--days", "1", "--out", csvPath)
	must(t, "load", "mill-cottage", csvPath, "--home", h.dir)
	c, err := h.parseConfig()
	require.NoError(t, err)
	n, err := c.Notify.open(t.Context(), h, nil, nil)
	require.NoError(t, err)
	defer func() { assert.NoError(t, n.Close()) }()
	require.NoError(t, n.Put(t.Context(), notify.Event{
		What: notify.Opened, Site: "mill-cottage", Kind: "low_flow", Severity: store.Urgent, Since: time.Now(), Title: "Flow 310 l/h",
	}))
	waiting, err := journal.Open(t.Context(), h.journalPath(), journal.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, waiting.Close()) }()
	_, err = waiting.Append(t.Context(), []ingest.Reading{{Site: "mill-cottage", Channel: "flow_temp", Time: time.Unix(1768392000, 0), Value: 31}})
	require.NoError(t, err)

	copied := notifyHome(t, "  mqtt: {url: 'tcp://127.0.0.1:1'}\n  engineers:\n    - {name: Ada, mqtt: {topic: firm}, time_zone: UTC}\n")
	require.NoError(t, os.RemoveAll(copied.dataDir()))
	must(t, "backup", copied.dataDir(), "--home", h.dir)
	_, errOut, code := coldweek(t, "backup", copied.dataDir(), "--home", h.dir)
	assert.Equal(t, 1, code)
	assert.Contains(t, errOut, "ask to overwrite it")
	assert.Contains(t, must(t, "backup", copied.dataDir(), "--overwrite", "--home", h.dir), "outbox.sqlite written and checked")
	for _, command := range [][]string{{"export", "mill-cottage"}, {"notify", "pending", "--json"}} {
		assert.Equal(t, must(t, append(command, "--home", h.dir)...), must(t, append(command, "--home", copied.dir)...), command)
	}
	restored, err := journal.Open(t.Context(), copied.journalPath(), journal.Options{})
	require.NoError(t, err)
	depth, err := restored.Depth(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, 1, depth.Readings)
	require.NoError(t, restored.Close())
	_, errOut, code = coldweek(t, "backup", csvPath, "--home", h.dir)
	assert.Equal(t, 2, code)
	assert.Contains(t, errOut, "is a file; name a folder")
}

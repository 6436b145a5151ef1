package site_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// folder writes files, by name, to a new folder.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	return dir
}

func record(id string, lines ...string) string {
	return "id: " + id + "\ntime_zone: Europe/London\n" + strings.Join(lines, "\n") + "\n"
}

func ids(records []*site.Record) []string {
	var list []string
	for _, r := range records {
		list = append(list, r.ID)
	}
	return list
}

func TestLoadAll(t *testing.T) {
	dir := folder(t, map[string]string{
		"mill.yaml": record("mill"), "barn.yaml": record("barn"),
		"notes.txt": "not a record", ".#mill.yaml": "an editor's lock file",
	})
	require.NoError(t, os.Mkdir(filepath.Join(dir, "old.yaml"), 0o700))
	records, err := site.LoadAll(dir)
	require.NoError(t, err)
	assert.Equal(t, []string{"barn", "mill"}, ids(records))
}

func TestLoadAllReturnsTheGoodBesideTheProblemsOfTheOthers(t *testing.T) {
	dir := folder(t, map[string]string{
		"barn.yaml":   record("barn"),
		"copy.yaml":   record("barn"),
		"forge.yaml":  record("forgery"),
		"mill.yaml":   record("mill", "design: {heat_loss_kw: 9500}"),
		"school.yml":  record("school"),
		"tannery.yml": "",
	})
	records, err := site.LoadAll(dir)
	assert.Equal(t, []string{"barn"}, ids(records))
	var problems site.Problems
	require.ErrorAs(t, err, &problems)
	assert.Equal(t, strings.Join([]string{
		`copy.yaml:1:5: id: "barn" is already the id of barn.yaml; give one of the sites another id`,
		`forge.yaml:1:5: id: "forgery" is not the name of the file; rename the file to forgery.yaml or write id: forge`,
		`mill.yaml:3:24: design.heat_loss_kw: 9500 is above 500; looks like W; write 9.5`,
		`school.yml: is not read: a site record ends in .yaml; rename it to school.yaml`,
		`tannery.yml: is not read: a site record ends in .yaml; rename it to tannery.yaml`,
	}, "\n"), strings.ReplaceAll(err.Error(), dir+string(filepath.Separator), ""))
}

// A record that was copied and not edited through would count the readings of
// one house for two; the weather of a street may be shared.
func TestLoadAllRefusesTwoSitesOnOneSource(t *testing.T) {
	dir := folder(t, map[string]string{
		"barn.yaml": record("barn", "channels:", "  flow_temp: {topic: hp/state, pointer: /flow}", "  outdoor_temp: {topic: street/air}"),
		"mill.yaml": record("mill", "channels:", "  flow_temp: {topic: hp/state, pointer: /flow}", "  outdoor_temp: {topic: street/air}"),
		"forge.yaml": record("forge", "channels:", "  flow_temp: {topic: hp/state, pointer: /forge/flow}", "  outdoor_temp: {topic: street/air}",
			"  power: {unit: kW}", "  pump_power: {unit: kW}"),
	})
	records, err := site.LoadAll(dir)
	assert.Equal(t, []string{"barn", "forge"}, ids(records))
	assert.EqualError(t, err, filepath.Join(dir, "mill.yaml")+
		`:4:22: channels.flow_temp.topic: "hp/state" is also read by site barn; name the topic of this site`)
}

func TestLoadNamesWhatItCouldNotRead(t *testing.T) {
	_, err := site.Load(filepath.Join(t.TempDir(), "mill.yaml"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
	assert.ErrorContains(t, err, "read site record")
	_, err = site.LoadAll(filepath.Join(t.TempDir(), "sites"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
	assert.False(t, errors.As(err, new(site.Problems)), "a folder that is not there is no mistake in a record")
}

func TestLoadKeepsValuesAsGiven(t *testing.T) {
	r, err := site.Load(filepath.Join(testdata, "mill-house.good.yaml"))
	require.NoError(t, err)
	assert.Equal(t, "Europe/London", r.Zone().String())
	assert.Equal(t, 7.4, *r.Design.HeatLossKW)
	assert.Equal(t, -3.2, *r.Design.OutdoorTempC)
	assert.Equal(t, []site.CurvePoint{{OutdoorTempC: 15, FlowTempC: 28}, {OutdoorTempC: -5, FlowTempC: 46}}, r.HeatingCurve.Points, "in the order of the file")
	assert.Equal(t, 2, r.Metering.HeatMeter.Class)
	assert.True(t, r.Metering.SensorPairs[0].ApplyOffset)
	assert.Equal(t, site.Source{Topic: "house/samples", Samples: "/samples", Pointer: "/flow", TimePointer: "/at", Unit: "L/min"}, r.Channels["flow_rate"], "unit as its UCUM code")
	assert.Equal(t, ingest.Unit("[degF]"), r.Channels["room_temp/kitchen"].Unit)
	assert.Equal(t, 900.0, *r.Channels["power"].MaxGapS)
	assert.Equal(t, map[string]string{"0": "off", "1": "heating", "Warmwasser": "hot_water", "3": "defrost"}, r.Channels["mode"].Values)
	assert.Equal(t, 18.0, r.Pipework.Legs[0].Legs[1].LengthM)
	assert.Equal(t, site.TimeOfUseRate{TimeSpan: site.TimeSpan{From: "00:30", To: "04:30"}, PricePerKWh: 0.14}, r.Tariff.TimeOfUse[0])
	assert.Equal(t, "Kitchen valve found half closed.\nOpened it.\n", r.Visits[0].Note)
	assert.Equal(t, ingest.Unit("[degF]"), r.Visits[0].Readings[1].Unit)

	bare, err := site.Load(filepath.Join(testdata, "minimal.good.yaml"))
	require.NoError(t, err)
	assert.Nil(t, bare.Design)
	assert.Nil(t, bare.Channels)
	assert.Nil(t, bare.Visits)
}

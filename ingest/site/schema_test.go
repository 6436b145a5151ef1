package site_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// compiled is the schema as another implementation reads it, which also checks
// it against the meta-schema of its draft.
func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	text, err := site.Schema()
	require.NoError(t, err)
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	require.NoError(t, compiler.AddResource("site.schema.json", document))
	schema, err := compiler.Compile("site.schema.json")
	require.NoError(t, err)
	return schema
}

// schemaSays validates YAML against the schema.
func schemaSays(schema *jsonschema.Schema, text []byte) error {
	converted, err := yaml.YAMLToJSON(text)
	if err != nil {
		return err
	}
	instance, err := jsonschema.UnmarshalJSON(bytes.NewReader(converted))
	if err != nil {
		return err
	}
	return schema.Validate(instance)
}

// beyondSchema are the mistakes that lie between values, or in words a schema
// cannot list.
var beyondSchema = []string{
	"bad-zone.bad.yaml", "bad-zone-city.bad.yaml", "bad-zone-local.bad.yaml",
	"curve.bad.yaml", "glycol.bad.yaml", "glycol-not-named.bad.yaml", "flow-below-room.bad.yaml", "order.bad.yaml", "pointer.bad.yaml", "pump-setting-alone.bad.yaml", "pump-settings.bad.yaml", "same-source.bad.yaml", "spans.bad.yaml", "topic.bad.yaml",
	"yaml-latin1.bad.yaml", "yaml-two-documents.bad.yaml", // lost when YAML is turned into JSON
}

func TestSchemaAndParseAgree(t *testing.T) {
	schema := compiled(t)
	files, err := filepath.Glob(filepath.Join(testdata, "*.yaml"))
	require.NoError(t, err)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			_, parseErr := site.Parse(file, text)
			schemaErr := schemaSays(schema, text)
			if strings.HasSuffix(file, ".good.yaml") {
				assert.NoError(t, parseErr)
				assert.NoError(t, schemaErr)
				return
			}
			assert.Error(t, parseErr)
			assert.Equal(t, slices.Contains(beyondSchema, filepath.Base(file)), schemaErr == nil, "schema says %v", schemaErr)
		})
	}
}

// Each limit is tried at both sides, in a record that is otherwise right: what
// the tags say must reach both the schema and Parse.
func TestLimitsHoldInBoth(t *testing.T) {
	cases := []struct {
		record string // with a %s for the value
		inside []string
		beyond []string
	}{
		{"design: {heat_loss_kw: %s}", []string{"0.1", "500"}, []string{"0", "-1", "500.1", `"9"`, "~", "[9]", "true"}},
		{"design: {outdoor_temp_c: %s}", []string{"-50", "15"}, []string{"-50.1", "15.1"}},
		{"heat_pump: {laboratory_points: [{outdoor_temp_c: 7, flow_temp_c: 35, heat_kw: 8, cop: %s}]}", []string{"0.8", "12"}, []string{"0.7", "12.1"}},
		{"metering: {heat_meter: {class: %s}}", []string{"1", "3", "2.0"}, []string{"0", "4", "2.5", `"2"`}},
		{"metering: {electricity_meter: {class: %s}}", []string{"A"}, []string{"D", "1", "a"}},
		{"metering: {heat_meter: {after_backup_heater: %s}}", []string{"true", "false"}, []string{"1", `"true"`, "maybe"}},
		{"metering: {electricity_covers: [%s]}", []string{"", "fan", "fan, controls"}, []string{"fan, fan", "light"}},
		{"commissioned: {date: %s}", []string{"2024-02-29"}, []string{"2025-02-29", "2025-13-01", "20250101"}},
		{"contact: {engineer_email: %s}", []string{"a@example.org"}, []string{"a.example.org"}},
		{"limits: {short_run_minutes: %s}", []string{"1", "7.5", "120"}, []string{"0.9", "120.5", "~"}},
		{"tariff: {currency: %s}", []string{"EUR"}, []string{"eur", "EURO"}},
		{"note: {send: %s}", []string{"after_release", "at_once", "never"}, []string{"always", "~", "true"}},
		{"note: {language: %s}", []string{"en", "de"}, []string{"DE", "deutsch", "d", "de-AT"}},
		{"hot_water: {schedule: [{from: %s, to: '12:00'}]}", []string{"'00:00'", "'23:59'"}, []string{"'24:00'", "'7:00'", "'07:60'"}},
		{"heating_curve: {points: [{outdoor_temp_c: -5, flow_temp_c: 45}%s]}", []string{", {outdoor_temp_c: 15, flow_temp_c: 25}"}, []string{"", ", {outdoor_temp_c: 15}"}},
		{"channels: {%s: {column: x}}", []string{"flow_temp", "room_temp/a", "mode"}, []string{"flow", "flow_temp/", "flow_temp/a/b", "flow_temp/+", `"flow_temp/a b"`}},
		{"channels: {flow_rate: {unit: %s}}", []string{"L/h", "l/min", "m³/h"}, []string{"kW", "Cel", "furlong", `""`}},
		{"channels: {mode: {values: {1: %s}}}", []string{"heating", `"off"`}, []string{"heat", "1"}},
		{"channels: {power: {values: %s}}", nil, []string{"{1: heating}"}},
		{"visits: [{time: '2025-11-20T10:30:00Z', readings: [{channel: %s, value: 20}]}]", []string{"room_temp/a"}, []string{"room/a"}},
		{"visits: [{time: %s}]", []string{"2025-11-20T10:30:00+01:00"}, []string{"2025-11-20", "2025-11-20T10:30:00"}},
		{"pipework: {legs: [{name: a, material: pex, size: %s, length_m: 1, serves_kw: 1}]}", []string{"16x2", "28x0.9"}, []string{"16", "x2", "16x"}},
		{"pipework: {legs: [{name: a, material: pex, size: 16x2, length_m: 1, serves_kw: 1, %s}]}",
			[]string{"floor_loop: true", "flow_return_difference_k: 7", "fittings: [{name: elbow}]", "fittings: [{name: x, kv_m3h: 2}]", "flow_setter: {kv_m3h: 1, set_lph: 90}"},
			[]string{"floor_loop: 1", "flow_return_difference_k: 0", "fittings: [{name: x, zeta: 0}]", "flow_setter: {set_lph: 90}", "parallel: 65"}},
		{"heat_pump: {pump_setting: a, pump_settings: [{name: a, points: %s}]}", []string{"[{flow_lph: 500, head_kpa: 40}]"}, []string{"[]", "[{flow_lph: 500}]"}},
		{"limits: {pipe_velocity_m_per_s: %s}", []string{"0.1", "5"}, []string{"0", "5.1"}},
		{"limits: {pipe_loss_pa_per_m: %s}", []string{"10", "5000"}, []string{"9", "5001"}},
	}
	schema := compiled(t)
	try := func(record, value string, good bool) {
		text := []byte("id: mill\ntime_zone: Europe/London\n" + strings.Replace(record, "%s", value, 1) + "\n")
		_, parseErr := site.Parse("mill.yaml", text)
		schemaErr := schemaSays(schema, text)
		assert.Equal(t, good, parseErr == nil, "Parse: %s with %q: %v", record, value, parseErr)
		assert.Equal(t, good, schemaErr == nil, "schema: %s with %q: %v", record, value, schemaErr)
	}
	for _, c := range cases {
		for _, value := range c.inside {
			try(c.record, value, true)
		}
		for _, value := range c.beyond {
			try(c.record, value, false)
		}
	}
}

func TestSchemaIsTheSameEachTime(t *testing.T) {
	first, err := site.Schema()
	require.NoError(t, err)
	again, err := site.Schema()
	require.NoError(t, err)
	assert.Equal(t, string(first), string(again))
	assert.Equal(t, 1, bytes.Count(first, []byte(`"$schema": "https://json-schema.org/draft/2020-12/schema"`)))
}

// An editor completes what the schema lists: the keys, every channel, and for
// a channel only the units that fit.
func TestSchemaListsWhatAnEditorOffers(t *testing.T) {
	text, err := site.Schema()
	require.NoError(t, err)
	var schema struct {
		Required   []string
		Properties map[string]struct{ Properties map[string]any }
		Defs       map[string]struct {
			Required   []string
			Properties map[string]struct{ Enum []string }
		} `json:"$defs"`
	}
	// Enumerations of numbers do not fit and are not looked at.
	decodeLoosely(t, text, &schema)
	assert.Equal(t, []string{"id", "time_zone"}, schema.Required)
	assert.Len(t, schema.Properties["channels"].Properties, len(ingest.Quantities()))
	assert.Subset(t, schema.Defs["flow_rate"].Properties["unit"].Enum, []string{"L/h", "l/h", "m3/h"})
	assert.NotContains(t, schema.Defs["flow_rate"].Properties["unit"].Enum, "kW")
	assert.ElementsMatch(t, []string{"outdoor_temp_c", "flow_temp_c", "heat_kw", "cop"}, schema.Defs["LabPoint"].Required)
	assert.ElementsMatch(t, []string{"from", "to", "price_per_kwh"}, schema.Defs["TimeOfUseRate"].Required)
	for _, optional := range []string{"Design", "HeatPump", "Source", "Metering", "Commissioned", "Tariff", "Contact", "HotWater"} {
		assert.Empty(t, schema.Defs[optional].Required, optional)
	}
}

func decodeLoosely(t *testing.T, text []byte, into any) {
	t.Helper()
	err := json.Unmarshal(text, into)
	if _, mismatch := err.(*json.UnmarshalTypeError); !mismatch {
		require.NoError(t, err)
	}
}

// schemaKeys returns every key of every mapping that the schema knows.
func schemaKeys(t *testing.T) []string {
	t.Helper()
	text, err := site.Schema()
	require.NoError(t, err)
	var schema struct {
		Properties map[string]any
		Defs       map[string]struct{ Properties map[string]any } `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(text, &schema))
	keys := map[string]bool{}
	for key := range schema.Properties {
		keys[key] = true
	}
	for _, definition := range schema.Defs {
		for key := range definition.Properties {
			keys[key] = true
		}
	}
	return slices.Sorted(maps.Keys(keys))
}

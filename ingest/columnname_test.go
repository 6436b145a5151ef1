package ingest_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

// The first four names are the contract's own examples.
func TestParseColumn(t *testing.T) {
	for name, want := range map[string]struct {
		channel ingest.Channel
		unit    ingest.Unit
	}{
		"flow_temp_c":          {"flow_temp", "Cel"},
		"flow_rate_lph":        {"flow_rate", "L/h"},
		"power_w":              {"power", "W"},
		"heat_register_kwh":    {"heat_register", "kW.h"},
		"mode":                 {"mode", "1"},
		"mode/north":           {"mode/north", "1"},
		"room_temp/kitchen_c":  {"room_temp/kitchen", "Cel"},
		"room_temp_c/kitchen":  {"room_temp/kitchen", "Cel"},
		"room_temp_c/attic_k":  {"room_temp/attic_k", "Cel"},
		"room_temp/attic_k":    {"room_temp/attic", "K"},
		"flow_rate_m3_h":       {"flow_rate", "m3/h"},
		"flow_rate/north_m3_h": {"flow_rate/north", "m3/h"},
		"irradiance_w_m2":      {"irradiance", "W/m2"},
		"irradiance/roof_w_m2": {"irradiance/roof", "W/m2"},
		"volume_register_m3":   {"volume_register", "m3"},
		"heat_output_kw":       {"heat_output", "kW"},
		"outdoor_humidity_pct": {"outdoor_humidity", "%"},
		"compressor_speed_rpm": {"compressor_speed", "/min"},
		"pressure_kpa":         {"pressure", "kPa"},
	} {
		c, u, err := ingest.ParseColumn(name)
		require.NoError(t, err, name)
		assert.Equal(t, want.channel, c, name)
		assert.Equal(t, want.unit, u, name)
	}
}

func TestParseColumnSaysWhatWouldBeRight(t *testing.T) {
	for name, want := range map[string]string{
		"flow_temp":         `column "flow_temp" names no unit; write "flow_temp_c"`,
		"room_temp/kitchen": `column "room_temp/kitchen" names no unit; write "room_temp/kitchen_c"`,
		"flow_temp_":        `column "flow_temp_" is no channel plus its unit; did you mean "flow_temp_c"?`,
		"flow_tmp_c":        `column "flow_tmp_c" is no channel plus its unit; did you mean "flow_temp_c"?`,
		"power_kwh":         `column "power_kwh" ends in "kwh", which is no unit of power; write "power_w"`,
		"mode_c":            `column "mode_c" ends in "c", which is no unit of mode; write "mode"`,
		"room_temp_c/a b":   `column "room_temp_c/a b": channel "room_temp/a b": place "a b" holds ' '; use letters, digits, - and _`,
	} {
		_, _, err := ingest.ParseColumn(name)
		assert.EqualError(t, err, want)
	}
	_, _, err := ingest.ParseColumn("")
	assert.Error(t, err)
}

// Writing a column name and reading it again gives the channel and its unit,
// for every quantity, placed or not.
func TestColumnNameRoundTrip(t *testing.T) {
	for _, q := range ingest.Quantities() {
		for _, place := range []string{"", "kitchen", "loop_2"} {
			channel := ingest.NewChannel(q, place)
			c, u, err := ingest.ParseColumn(channel.ColumnName())
			require.NoError(t, err)
			assert.Equal(t, channel, c)
			assert.Equal(t, q.Unit(), u)
		}
	}
}

func FuzzParseColumn(f *testing.F) {
	f.Add("flow_temp_c")
	f.Add("room_temp/kitchen_c")
	f.Fuzz(func(t *testing.T, name string) {
		c, u, err := ingest.ParseColumn(name)
		if err != nil {
			return
		}
		again, err := ingest.ParseChannel(string(c))
		require.NoError(t, err)
		assert.Equal(t, c, again)
		assert.True(t, u.FitsIn(c.Unit()))
	})
}

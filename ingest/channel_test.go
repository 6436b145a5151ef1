package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

func TestParseChannel(t *testing.T) {
	for name, want := range map[string]struct {
		quantity ingest.Quantity
		place    string
	}{
		"flow_temp":                            {ingest.FlowTemp, ""},
		"room_temp/kitchen":                    {ingest.RoomTemp, "kitchen"},
		"return_temp/north":                    {ingest.ReturnTemp, "north"},
		"room_temp/küche":                      {ingest.RoomTemp, "küche"},
		"mode":                                 {ingest.ModeQuantity, ""},
		"room_temp/" + strings.Repeat("x", 64): {ingest.RoomTemp, strings.Repeat("x", 64)},
	} {
		c, err := ingest.ParseChannel(name)
		require.NoError(t, err, name)
		assert.Equal(t, want.quantity, c.Quantity())
		assert.Equal(t, want.place, c.Place())
		assert.Equal(t, c, ingest.NewChannel(c.Quantity(), c.Place()), "NewChannel undoes the split")
	}
}

// MQTT 5.0 section 4.7: + and # are wildcards, / separates levels.
func TestParseChannelRefuses(t *testing.T) {
	for _, name := range []string{
		"", "/", "flow", "flow_temp/", "flow_temp/a/b", "flow_temp/+", "flow_temp/#", "flow_temp/a b", "flow_temp/a,b",
		"flow_temp/\x00", "flow_temp/\x7f", "flow_temp/\xff", `flow_temp/"`, "room_temp/" + strings.Repeat("x", 65), "Flow_temp",
	} {
		_, err := ingest.ParseChannel(name)
		assert.Error(t, err, name)
	}
	_, err := ingest.ParseChannel("flow_tmp")
	assert.EqualError(t, err, `channel "flow_tmp": "flow_tmp" is no known quantity; did you mean "flow_temp"?`)
	_, err = ingest.ParseChannel("room_temp/living room")
	assert.EqualError(t, err, `channel "room_temp/living room": place "living room" holds ' '; use letters, digits, - and _`)
}

// The words and canonical units are the contract with whoever publishes.
func TestCanonicalUnits(t *testing.T) {
	want := map[ingest.Unit][]ingest.Quantity{
		"Cel":  {"flow_temp", "return_temp", "outdoor_temp", "room_temp", "cylinder_temp", "floor_temp", "flow_target"},
		"L/h":  {"flow_rate"},
		"W":    {"power", "backup_power", "pump_power", "heat_output"},
		"kW.h": {"electricity_register", "heat_register"},
		"m3":   {"volume_register"},
		"Hz":   {"compressor_speed"},
		"bar":  {"pressure"},
		"%":    {"outdoor_humidity"},
		"W/m2": {"irradiance"},
		"1":    {"mode"},
	}
	count := 0
	for u, list := range want {
		for _, q := range list {
			assert.Equal(t, u, q.Unit(), string(q))
			count++
		}
	}
	assert.Len(t, ingest.Quantities(), count)
}

// A shut-off winter night in the coldest inhabited places and a boiler-like
// primary must pass; -67.7 °C is the record of Oymyakon, 56.7 °C the world
// record at Furnace Creek (WMO Weather and Climate Extremes Archive).
func TestCheckValue(t *testing.T) {
	cases := []struct {
		quantity ingest.Quantity
		value    float64
		ok       bool
	}{
		{ingest.OutdoorTemp, -67.7, true}, {ingest.OutdoorTemp, 56.7, true}, {ingest.OutdoorTemp, -127, false},
		{ingest.FlowTemp, 85, true}, {ingest.FlowTemp, 3276.7, false},
		{ingest.FlowRate, 1200, true}, {ingest.FlowRate, -5, false},
		{ingest.HeatOutput, -4000, true}, // a defrost draws heat
		{ingest.ModeQuantity, 3, true}, {ingest.ModeQuantity, 4, false}, {ingest.ModeQuantity, 1.5, false},
		{ingest.RoomTemp, nan(), false},
	}
	for _, c := range cases {
		assert.Equal(t, c.ok, c.quantity.CheckValue(c.value) == nil, "%s %g", c.quantity, c.value)
	}
	assert.EqualError(t, ingest.FlowTemp.CheckValue(3276.7),
		"flow_temp of 3276.7 °C is impossible (-40 to 130 °C): check the unit of its source")
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestQuantityTraits(t *testing.T) {
	assert.Equal(t, ingest.Linear, ingest.FlowTemp.Between())
	assert.Equal(t, ingest.Hold, ingest.Power.Between())
	assert.True(t, ingest.HeatRegister.IsRegister())
	assert.False(t, ingest.HeatOutput.IsRegister())
	for _, q := range ingest.Quantities() {
		low, high := q.Range()
		assert.Less(t, low, high, string(q))
	}
}

func TestModes(t *testing.T) {
	assert.Equal(t, []string{"off", "heating", "hot_water", "defrost"}, ingest.Modes())
	for i, name := range ingest.Modes() {
		m, err := ingest.ParseMode(name)
		require.NoError(t, err)
		assert.Equal(t, ingest.Mode(i), m)
		assert.Equal(t, name, m.String())
	}
	_, err := ingest.ParseMode("heat")
	assert.EqualError(t, err, `mode "heat" is none of off, heating, hot_water, defrost`)
	assert.Equal(t, "mode 7", ingest.Mode(7).String())
	assert.Equal(t, "mode -1", ingest.Mode(-1).String())
}

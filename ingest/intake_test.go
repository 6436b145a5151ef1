package ingest_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
)

// What is a number follows RFC 8259 section 6, apart from the leading plus and
// zeros that loggers write.
func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{
		"0": 0, "-0.5": -0.5, "+21.5": 21.5, "1e3": 1000, "1E-3": 0.001, " 7 ": 7, "007": 7,
		"1e-400": 0, "12345678901234567890": 12345678901234567890,
	} {
		got, err := ingest.ParseNumber(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for text, reason := range map[string]ingest.Reason{
		"": ingest.BadPayload, "on": ingest.BadPayload, "0x10": ingest.BadPayload, "1_000": ingest.BadPayload,
		"1,5": ingest.BadPayload, "1.2.3": ingest.BadPayload, "--1": ingest.BadPayload, "e5": ingest.BadPayload, ".": ingest.BadPayload,
		"NaN": ingest.ImpossibleValue, "-Infinity": ingest.ImpossibleValue, "inf": ingest.ImpossibleValue,
		"1e400": ingest.ImpossibleValue, "-1e400": ingest.ImpossibleValue,
	} {
		_, err := ingest.ParseNumber(text)
		var refused *ingest.RefusedError
		require.ErrorAs(t, err, &refused, text)
		assert.Equal(t, reason, refused.Reason, text)
	}
}

func TestIntakeConverts(t *testing.T) {
	in, err := ingest.NewIntake(ingest.FlowTemp, "K", nil)
	require.NoError(t, err)
	got, err := in.Number(308.36)
	require.NoError(t, err)
	assert.Equal(t, 35.21, got, "t/°C = T/K - 273.15 (SI brochure 2.3.1), without the binary remainder")

	in, err = ingest.NewIntake(ingest.OutdoorHumidity, "1", nil)
	require.NoError(t, err)
	got, err = in.Number(0.62)
	require.NoError(t, err)
	assert.Equal(t, 62.0, got, "UCUM: % is 10*-2")

	in, err = ingest.NewIntake(ingest.Power, "kW", nil)
	require.NoError(t, err)
	_, err = in.Number(1710)
	assert.ErrorContains(t, err, "impossible", "watts sent as kilowatts")
}

func TestIntakeReadsModes(t *testing.T) {
	in, err := ingest.NewIntake(ingest.ModeQuantity, "", map[string]string{"Tapwater": "hot_water", "8": "defrost", "true": "heating"})
	require.NoError(t, err)
	for text, want := range map[string]ingest.Mode{
		"tapwater": ingest.ModeHotWater, " TAPWATER ": ingest.ModeHotWater, "8": ingest.ModeDefrost, "8.0": ingest.ModeDefrost,
		"off": ingest.ModeOff, "Heating": ingest.ModeHeating, "true": ingest.ModeHeating,
	} {
		got, err := in.Text(text)
		require.NoError(t, err, text)
		assert.Equal(t, float64(want), got, text)
	}
	for _, text := range []string{"1", "turbo", "", "NaN"} {
		_, err := in.Text(text)
		assert.Error(t, err, "%q: the record gives numbers a meaning of their own", text)
	}

	plain, err := ingest.NewIntake(ingest.ModeQuantity, "", nil)
	require.NoError(t, err)
	got, err := plain.Text("2")
	require.NoError(t, err)
	assert.Equal(t, float64(ingest.ModeHotWater), got)
	_, err = plain.Text("1.5")
	assert.ErrorContains(t, err, "mode 1.5 is none of off, heating, hot_water, defrost")
}

func TestNewIntakeRefuses(t *testing.T) {
	_, err := ingest.NewIntake(ingest.Power, "kW.h", nil)
	assert.ErrorContains(t, err, "does not fit power")
	_, err = ingest.NewIntake(ingest.Power, "furlong", nil)
	assert.ErrorContains(t, err, `unit "furlong" is not known`)
	_, err = ingest.NewIntake(ingest.Power, "", map[string]string{"1": "off"})
	assert.ErrorContains(t, err, "values translate modes only")
	_, err = ingest.NewIntake(ingest.ModeQuantity, "", map[string]string{"1": "standby"})
	assert.ErrorContains(t, err, `value "1": mode "standby" is none of`)
}

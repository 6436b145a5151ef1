package weather_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest/rig/weather"
)

// Source: IAPWS-95 saturation pressures of water, 611.657 Pa at 0.01 °C, 2339.3
// Pa at 20 °C, and IAPWS R14-08 of ice, 259.9 Pa at -10 °C.
func TestWaterVapour(t *testing.T) {
	assert.InEpsilon(t, 611.7, weather.WaterVapourPa(0.01), 0.002)
	assert.InEpsilon(t, 2339.3, weather.WaterVapourPa(20), 0.003)
	assert.InEpsilon(t, 259.9, weather.WaterVapourPa(-10), 0.003)
	assert.InEpsilon(t, 0.5*2339.3, weather.VapourPa(20, 50), 0.003)
}

// year draws a year of hours.
func year(c weather.Climate, latitudeDeg, longitudeDeg float64, seed uint64) []weather.Hour {
	s := weather.NewSynthetic(c, latitudeDeg, longitudeDeg, time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), seed)
	hours := make([]weather.Hour, 8760)
	for i := range hours {
		hours[i] = s.Next()
	}
	return hours
}

func meanC(hours []weather.Hour) float64 {
	sum := 0.0
	for _, h := range hours {
		sum += h.OutdoorC
	}
	return sum / float64(len(hours))
}

// Source: the climate's own figures.
func TestSyntheticYearIsItsClimate(t *testing.T) {
	for _, c := range weather.Climates() {
		require.NoError(t, c.Validate())
		hours := year(c, 52, 0, 3)
		assert.InDelta(t, c.AnnualMeanC, meanC(hours), 1.2, c.Name)
		assert.Less(t, meanC(hours[:31*24]), c.AnnualMeanC-0.4*c.SeasonK, c.Name)
		assert.Greater(t, meanC(hours[181*24:212*24]), c.AnnualMeanC+0.4*c.SeasonK, c.Name)
		for _, h := range hours {
			require.True(t, h.HumidityPct >= 15 && h.HumidityPct <= 100 && h.IrradianceWPerM2 >= 0 && h.IrradianceWPerM2 < 1100)
		}
		assert.Equal(t, hours, year(c, 52, 0, 3), "same seed")
		assert.NotEqual(t, hours, year(c, 52, 0, 4))
	}
}

// Source: Haurwitz 1945 under the sun's greatest height at 52° north on 21 June,
// 61.4°: 1098 sin h exp(-0.057/sin h) = 903 W/m². Night is dark; the south has
// its summer in January.
func TestSunStandsWhereItShould(t *testing.T) {
	clear := weather.MildWet()
	clear.Cloud, clear.SynopticK = 0, 0
	noon, midnight := 0.0, 0.0
	for seed := range uint64(20) {
		hours := year(clear, 52, 0, seed)
		noon = max(noon, hours[171*24+12].IrradianceWPerM2)
		midnight = max(midnight, hours[171*24].IrradianceWPerM2)
	}
	height := math.Sin(61.4 * math.Pi / 180)
	assert.InEpsilon(t, 1098*height*math.Exp(-0.057/height), noon, 0.02)
	assert.Zero(t, midnight)
	south := year(weather.MildWet(), -35, 150, 1)
	assert.Greater(t, meanC(south[:31*24]), meanC(south[181*24:212*24])+5)
}

func TestSeriesRepeatsAndInterpolates(t *testing.T) {
	s := weather.NewSeries([]weather.Hour{{OutdoorC: 1}, {OutdoorC: 2}, {OutdoorC: 3}}, -1)
	got := []float64{}
	for range 5 {
		got = append(got, s.Next().OutdoorC)
	}
	assert.Equal(t, []float64{3, 1, 2, 3, 1}, got)
	half := weather.Between(weather.Hour{OutdoorC: 2, HumidityPct: 80}, weather.Hour{OutdoorC: 4, HumidityPct: 60, IrradianceWPerM2: 100}, 0.25)
	assert.Equal(t, weather.Hour{OutdoorC: 2.5, HumidityPct: 75, IrradianceWPerM2: 25}, half)
	assert.Panics(t, func() { weather.NewSeries(nil, 0) })
}

// Package weather makes the outdoor side of a simulated installation: hourly
// temperature, humidity and irradiance, either drawn for a climate or played
// from given hours, and the values between the hours.
//
// It is opinionated about being plain: a seasonal mean, a slow random swing
// of some days, a daily swing that clouds flatten, a dew point that follows
// the day and not the hour (so nights are damp), and sun by height and cloud.
// The same seed gives the same weather.
package weather

import "math"

// Hour is the weather at a full hour.
type Hour struct {
	OutdoorC         float64
	HumidityPct      float64
	IrradianceWPerM2 float64 // global, on the horizontal
}

// Source hands out the hours one after the other.
type Source interface {
	Next() Hour
}

// Series plays given hours, from the first again when they run out.
type Series struct {
	hours []Hour
	next  int
}

// NewSeries plays hours from the index first on. It panics without hours.
func NewSeries(hours []Hour, first int) *Series {
	if len(hours) == 0 {
		panic("weather: series without hours")
	}
	n := len(hours)
	return &Series{hours: hours, next: ((first % n) + n) % n}
}

// Next returns the next hour.
func (s *Series) Next() Hour {
	h := s.hours[s.next]
	s.next = (s.next + 1) % len(s.hours)
	return h
}

// Between returns the weather a share of the way from a to b.
func Between(a, b Hour, share float64) Hour {
	mix := func(x, y float64) float64 { return x + (y-x)*share }
	return Hour{
		OutdoorC:         mix(a.OutdoorC, b.OutdoorC),
		HumidityPct:      mix(a.HumidityPct, b.HumidityPct),
		IrradianceWPerM2: mix(a.IrradianceWPerM2, b.IrradianceWPerM2),
	}
}

// WaterVapourPa returns the saturation pressure of water vapour over water,
// or over ice below 0 °C (Magnus formula, coefficients of Sonntag 1990).
func WaterVapourPa(tempC float64) float64 {
	if tempC < 0 {
		return 611.2 * math.Exp(22.46*tempC/(272.62+tempC))
	}
	return 611.2 * math.Exp(17.62*tempC/(243.12+tempC))
}

// vapourOverWaterPa is what relative humidity refers to at any temperature
// (WMO convention).
func vapourOverWaterPa(tempC float64) float64 {
	return 611.2 * math.Exp(17.62*tempC/(243.12+tempC))
}

// VapourPa returns the vapour pressure in air of a relative humidity over
// water.
func VapourPa(tempC, humidityPct float64) float64 {
	return humidityPct / 100 * vapourOverWaterPa(tempC)
}

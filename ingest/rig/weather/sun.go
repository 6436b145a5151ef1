package weather

import (
	"math"
	"time"
)

// sun knows where the sun stands over a place.
type sun struct {
	sinLatitude, cosLatitude float64
	longitudeDeg             float64
	south                    bool
}

func newSun(latitudeDeg, longitudeDeg float64) sun {
	sin, cos := math.Sincos(latitudeDeg * math.Pi / 180)
	return sun{sinLatitude: sin, cosLatitude: cos, longitudeDeg: longitudeDeg, south: latitudeDeg < 0}
}

// solarHour is the mean solar time at the place; the equation of time, a
// quarter of an hour at most, is left out.
func (s sun) solarHour(at time.Time) float64 {
	utcH := float64(at.Hour()) + float64(at.Minute())/60
	return math.Mod(utcH+s.longitudeDeg/15+24, 24)
}

// sinHeight is the sine of the sun's height; declination per Cooper 1969.
func (s sun) sinHeight(at time.Time) float64 {
	declination := 23.45 * math.Pi / 180 * math.Sin(2*math.Pi*float64(284+at.YearDay())/365)
	hourAngle := (s.solarHour(at) - 12) * math.Pi / 12
	return s.sinLatitude*math.Sin(declination) + s.cosLatitude*math.Cos(declination)*math.Cos(hourAngle)
}

// irradianceWPerM2 is the clear sky of Haurwitz 1945 under the cloud of Kasten
// and Czeplak 1980.
func (s sun) irradianceWPerM2(at time.Time, cloud float64) float64 {
	height := s.sinHeight(at)
	if height <= 0.01 {
		return 0
	}
	return 1098 * height * math.Exp(-0.057/height) * (1 - 0.75*math.Pow(cloud, 3.4))
}

package sensor

import (
	"fmt"
	"math"
	"time"

	"coldweek/ingest"
)

// sinSunHeight is the sine of the sun's height over a place, within half a
// degree: declination per Cooper 1969, equation of time per Woolf 1968, both as
// in Duffie and Beckman, Solar Engineering of Thermal Processes.
func (p Place) sinSunHeight(ms int64) float64 {
	at := time.UnixMilli(ms).UTC()
	day := float64(at.YearDay())
	declination := 23.45 * math.Pi / 180 * math.Sin(2*math.Pi*(284+day)/365)
	b := 2 * math.Pi * (day - 81) / 364
	equationMin := 9.87*math.Sin(2*b) - 7.53*math.Cos(b) - 1.5*math.Sin(b)
	solarH := float64(at.Hour()) + (float64(at.Minute())+equationMin)/60 + p.LongitudeDeg/15
	hourAngle := (solarH - 12) * math.Pi / 12
	sinLatitude, cosLatitude := math.Sincos(p.LatitudeDeg * math.Pi / 180)
	return sinLatitude*math.Sin(declination) + cosLatitude*math.Cos(declination)*math.Cos(hourAngle)
}

// clearSkyWM2 is the sun on the horizontal under a clear sky (Haurwitz 1945).
func clearSkyWM2(sinHeight float64) float64 {
	if sinHeight <= 0.01 {
		return 0
	}
	return 1098 * sinHeight * math.Exp(-0.057/sinHeight)
}

// Air warms with the sun too, but over hours. By hours of daylight, the change
// of temperature is fitted to the change of irradiance and to irradiance itself
// (least squares): a sensor in the sun follows the first. Of real air it comes
// to airK per 600 W/m² in the middle: in two years of hourly weather (a German
// test reference year, TMY3 of Chicago) 1 day of 728 would be suspected, and with
// 8 K per 600 W/m² on the sensor 443 of 470 days with more than 400 W/m².
const (
	fullSunWM2       = 600
	airK, surelyAirK = 4.0, 6.5
	leastSunK        = 1.5 // that the sun is to blame for, surely, at its highest
	leastSunWM2      = 200 // at its highest
	leastSunHours    = 6
	sunDoubt         = 3.0 // standard errors: a year has many days to be wrong on
	hourMS           = 3_600_000
	litWM2           = 2
)

// sunStruck says whether sun falls on the outdoor sensor. It needs irradiance,
// or the place and a clear sky.
func (l *look) sunStruck(c ingest.Column) (Suspicion, bool) {
	sunWM2, measured := l.sunByHour()
	if sunWM2 == nil {
		return Suspicion{}, false
	}
	hours, highestWM2, first, last := fitSun(l.means(c, hourMS), sunWM2)
	p, ok := hours.solve()
	slopeK, doubtK := p.slope, sunDoubt*p.slopeErr
	if !ok || hours.n < leastSunHours || highestWM2 < leastSunWM2 || slopeK-doubtK < surelyAirK || (slopeK-doubtK-airK)*highestWM2/fullSunWM2 < leastSunK {
		return Suspicion{}, false
	}
	share := highestWM2 / fullSunWM2
	by := "irradiance"
	if !measured {
		by = "the sun's height"
	}
	s := Suspicion{
		Kind: SunStruck, Channels: []ingest.Channel{c.Channel},
		Since: utc(l.fromMS + int64(first)*hourMS), Until: utc(l.fromMS + int64(last)*hourMS),
		Size: (slopeK - airK) * share, Low: (slopeK - doubtK - airK) * share, High: (slopeK + doubtK) * share, Unit: "K",
	}
	s.Detail = fmt.Sprintf("the outdoor temperature follows %s at once, which air does not: sun on the sensor lifts it by about %.1f K (%.1f to %.1f) at the day's highest sun; the heating curve sinks with it, and heat loss looks too high on sunny days: move it to a north wall or shade it",
		by, s.Size, s.Low, s.High)
	return s, true
}

// sunByHour is the irradiance of each hour of the trace, measured if possible.
func (l *look) sunByHour() (sunWM2 []float64, measured bool) {
	if c := l.column(ingest.Irradiance); c.Len() > 0 {
		return l.means(c, hourMS), true
	}
	if l.known.Place == nil {
		return nil, false
	}
	n := (l.t.EdgeMS[l.t.Len()] - l.fromMS + hourMS - 1) / hourMS
	sunWM2 = make([]float64, n)
	const parts = 4
	for k := range sunWM2 {
		for p := range int64(parts) {
			ms := l.fromMS + int64(k)*hourMS + (2*p+1)*hourMS/(2*parts)
			sunWM2[k] += clearSkyWM2(l.known.Place.sinSunHeight(ms)) / parts
		}
	}
	return sunWM2, false
}

func fitSun(outdoorC, sunWM2 []float64) (hours fit, highestWM2 float64, first, last int) {
	first = -1
	for k := 1; k < min(len(outdoorC), len(sunWM2)); k++ {
		before, now := sunWM2[k-1], sunWM2[k]
		changeK := outdoorC[k] - outdoorC[k-1]
		if !(before > litWM2 || now > litWM2) || math.IsNaN(changeK+before+now) {
			continue
		}
		hours.add((now-before)/fullSunWM2, (now+before)/2/fullSunWM2, changeK)
		highestWM2 = max(highestWM2, now)
		if first < 0 {
			first = k - 1
		}
		last = k + 1
	}
	return hours, highestWM2, first, last
}

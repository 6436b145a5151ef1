package weather

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// Climate is what a place's weather is drawn from.
type Climate struct {
	Name        string
	AnnualMeanC float64
	SeasonK     float64 // the coldest day's mean lies this much below the year's
	SynopticK   float64 // standard deviation of the swing over some days
	SynopticH   float64 // how long that swing remembers
	SwingK      float64 // half the daily range under a clear sky
	DewGapK     float64 // mean of the day minus dew point
	Cloud       float64 // usual cover, 0 to 1
}

// MildWet is a maritime climate: winters around 4 °C, damp.
func MildWet() Climate {
	return Climate{Name: "mild-wet", AnnualMeanC: 10.3, SeasonK: 6, SynopticK: 2.8, SynopticH: 60,
		SwingK: 3.2, DewGapK: 2.2, Cloud: 0.68}
}

// ColdDry is an inland northern climate: winters around -9 °C, dry.
func ColdDry() Climate {
	return Climate{Name: "cold-dry", AnnualMeanC: 3.5, SeasonK: 12.5, SynopticK: 4.2, SynopticH: 80,
		SwingK: 3.8, DewGapK: 5, Cloud: 0.45}
}

// Continental is a central European climate: winters around 0 °C.
func Continental() Climate {
	return Climate{Name: "continental", AnnualMeanC: 9.6, SeasonK: 9.8, SynopticK: 3.6, SynopticH: 70,
		SwingK: 4.2, DewGapK: 3, Cloud: 0.58}
}

// Climates returns the named climates.
func Climates() []Climate { return []Climate{MildWet(), ColdDry(), Continental()} }

// Validate says what is impossible about a climate.
func (c Climate) Validate() error {
	switch {
	case c.AnnualMeanC < -20 || c.AnnualMeanC > 30:
		return fmt.Errorf("climate %q: annual mean of %g °C is not between -20 and 30", c.Name, c.AnnualMeanC)
	case c.SeasonK < 0 || c.SynopticK < 0 || c.SwingK < 0 || c.DewGapK < 0:
		return fmt.Errorf("climate %q: swings and dew point gap must not be negative", c.Name)
	case c.SynopticK > 0 && c.SynopticH < 1:
		return fmt.Errorf("climate %q: synoptic memory of %g h; use 24 to 120", c.Name, c.SynopticH)
	case c.Cloud < 0 || c.Cloud > 1:
		return fmt.Errorf("climate %q: cloud %g is not between 0 and 1", c.Name, c.Cloud)
	}
	return nil
}

// Synthetic draws hours for a climate.
type Synthetic struct {
	climate         Climate
	sun             sun
	at              time.Time
	random          *rand.Rand
	synoptic, cover float64 // standardised slow states
	dew             float64
}

// NewSynthetic draws the weather of a place from the hour start lies in.
func NewSynthetic(c Climate, latitudeDeg, longitudeDeg float64, start time.Time, seed uint64) *Synthetic {
	s := &Synthetic{
		climate: c,
		sun:     newSun(latitudeDeg, longitudeDeg),
		at:      start.UTC().Truncate(time.Hour),
		random:  rand.New(rand.NewPCG(seed, 0x77656174)),
	}
	s.synoptic, s.cover, s.dew = s.random.NormFloat64(), s.random.NormFloat64(), s.random.NormFloat64()
	return s
}

// cloudMemoryH and dewMemoryH: fronts pass in half a day to a day.
const (
	cloudMemoryH = 14
	dewMemoryH   = 20
)

// Next returns the next hour.
func (s *Synthetic) Next() Hour {
	s.synoptic = s.remember(s.synoptic, s.climate.SynopticH)
	s.cover = s.remember(s.cover, cloudMemoryH)
	s.dew = s.remember(s.dew, dewMemoryH)
	cloud := min(1, max(0, s.climate.Cloud+0.35*s.cover))
	dayC := s.dayMeanC()
	swing := s.climate.SwingK * (1 - 0.7*cloud)
	outdoorC := dayC + swing*math.Cos(2*math.Pi*(s.sun.solarHour(s.at)-14.5)/24)
	gapK := max(0.2, s.climate.DewGapK*(0.7+0.5*(1-cloud))+1.1*s.dew)
	humidityPct := 100 * vapourOverWaterPa(dayC-gapK) / vapourOverWaterPa(outdoorC)
	h := Hour{
		OutdoorC:         outdoorC,
		HumidityPct:      min(100, max(15, humidityPct)),
		IrradianceWPerM2: s.sun.irradianceWPerM2(s.at, cloud),
	}
	s.at = s.at.Add(time.Hour)
	return h
}

// remember advances a standardised first-order autoregression by an hour.
func (s *Synthetic) remember(state, memoryH float64) float64 {
	if memoryH <= 0 {
		return 0
	}
	keep := math.Exp(-1 / memoryH)
	return keep*state + math.Sqrt(1-keep*keep)*s.random.NormFloat64()
}

// coldestDay of the year, about three weeks after the solstice; half a year
// later in the south.
const coldestDay = 18

func (s *Synthetic) dayMeanC() float64 {
	day := float64(s.at.YearDay()) + float64(s.at.Hour())/24
	if s.sun.south {
		day += 182.5
	}
	return s.climate.AnnualMeanC - s.climate.SeasonK*math.Cos(2*math.Pi*(day-coldestDay)/365.25) +
		s.climate.SynopticK*s.synoptic
}

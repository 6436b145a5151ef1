package season

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"coldweek/analysis/operation"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Need is the mean heat the house takes from the plant at an outdoor
// temperature, in W, without hot water; false where that is not known.
type Need func(outdoorC float64) (robust.Estimate, bool)

// Site is what was measured of a plant and is known of its house.
type Site struct {
	Days []siteday.Day
	Need Need
	// MeterRatio is half the 95 % interval that the meters leave of an SPF.
	MeterRatio float64
}

// Projection is what a plant is expected to take in a season of a climate: a
// projection from the days that were measured, not a measurement.
type Projection struct {
	Climate string  `json:"climate"`
	Hours   float64 `json:"hours"`

	SpaceKWh            Interval `json:"space_kwh"`
	SpaceElectricityKWh Interval `json:"space_electricity_kwh"`
	SpaceSPF            Interval `json:"space_spf"` // with defrosts, without standby
	// Hot water and standby are taken to go on as in the days measured.
	HotWaterKWh            float64 `json:"hot_water_kwh"`
	HotWaterElectricityKWh float64 `json:"hot_water_electricity_kwh"`
	StandbyKWh             float64 `json:"standby_kwh"`

	HeatKWh        Interval `json:"heat_kwh"`
	ElectricityKWh Interval `json:"electricity_kwh"`
	SPF            Interval `json:"spf"`

	// SeenFromC to SeenToC are the outdoor temperatures the plant was seen to heat
	// at; BeyondShare of the space heat lies beyond and rests on lines drawn on.
	SeenFromC   float64 `json:"seen_from_c"`
	SeenToC     float64 `json:"seen_to_c"`
	BeyondShare float64 `json:"beyond_share"`
}

// Interval is a value with its 95 % interval.
type Interval struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// about spreads a value by half its interval as a ratio.
func about(value, ratio float64) Interval {
	return Interval{value, value * max(1-ratio, 0), value * (1 + ratio)}
}

const (
	// farShare of the heat may lie more than mostBeyondK beyond what was seen.
	farShare = 0.02
	// mostBeyondShare of the heat beyond what was seen is more guess than
	// projection.
	mostBeyondShare = 0.5
	// beyondRatio is half the interval of an efficiency that was drawn on.
	beyondRatio = 0.2
	// fewestDays with heating make a projection (common practice, no source).
	fewestDays = 7
)

// Own is the site's hours by outdoor temperature, as far as they are known.
func Own(days []siteday.Day) Climate {
	h := siteday.NewHistogram(1)
	for i := range days {
		for _, hour := range days[i].Sums.Hours {
			if c, known := hour.Outdoor.Of(); known {
				h.Add(c, hour.Outdoor.S/secondsPerHour)
			}
		}
	}
	own := Climate{Name: "own"}
	for _, binC := range sortedKeys(h.Weight) {
		own.Bins = append(own.Bins, Bin{OutdoorC: float64(binC) + 0.5, Hours: h.Weight[binC]})
	}
	return own
}

// Project returns the season's projection or why there is none.
func (s Site) Project(c Climate) (*Projection, error) {
	p, ok := PerformanceOf(s.Days)
	switch {
	case s.Need == nil:
		return nil, fmt.Errorf("what the house needs is not known yet")
	case !ok || s.heatingDays() < fewestDays:
		return nil, fmt.Errorf("the plant was not seen to heat on %d days", fewestDays)
	}
	total, heatRatio, err := s.space(c, p)
	if err != nil {
		return nil, err
	}
	r := &Projection{Climate: c.Name, Hours: c.Hours(), SeenFromC: p.LowC, SeenToC: p.HighC}
	if r.BeyondShare, err = s.beyond(c, p); err != nil {
		return nil, err
	}
	sampleRatio, ok := jackknife(s.Days, func(days []siteday.Day) float64 { return s.spaceSPF(c, days) })
	if !ok {
		return nil, fmt.Errorf("the days measured are too alike in outdoor temperature")
	}
	sampleRatio = math.Hypot(sampleRatio/total.SPF(), beyondRatio*r.BeyondShare)
	r.fill(total, s.other(), heatRatio, math.Hypot(sampleRatio, s.MeterRatio))
	return r, nil
}

// fill adds hot water and standby to space heating.
func (r *Projection) fill(space Total, other others, heatRatio, spfRatio float64) {
	seasonS := r.Hours * secondsPerHour
	hotWaterJ, hotWaterElectricityJ, standbyJ := other.hotWaterW*seasonS, other.hotWaterElectricityW*seasonS, other.standbyW*seasonS
	electricityRatio := math.Hypot(heatRatio, spfRatio)
	r.SpaceKWh = about(space.HeatJ/joulePerKWh, heatRatio)
	r.SpaceElectricityKWh = about(space.ElectricityJ/joulePerKWh, electricityRatio)
	r.SpaceSPF = about(space.SPF(), spfRatio)
	r.HotWaterKWh, r.HotWaterElectricityKWh, r.StandbyKWh = hotWaterJ/joulePerKWh, hotWaterElectricityJ/joulePerKWh, standbyJ/joulePerKWh
	heatJ, electricityJ := space.HeatJ+hotWaterJ, space.ElectricityJ+hotWaterElectricityJ+standbyJ
	r.HeatKWh = about(heatJ/joulePerKWh, heatRatio*space.HeatJ/heatJ)
	r.ElectricityKWh = about(electricityJ/joulePerKWh, electricityRatio*space.ElectricityJ/electricityJ)
	r.SPF = about(heatJ/electricityJ, spfRatio)
}

// space sums space heating up; the ratio is half the interval of its heat.
func (s Site) space(c Climate, p *Performance) (Total, float64, error) {
	lowJ, highJ := 0.0, 0.0
	for _, bin := range c.Bins {
		needed, known := s.Need(bin.OutdoorC)
		if !known {
			return Total{}, 0, fmt.Errorf("what the house needs at %g °C is not known", bin.OutdoorC)
		}
		if _, _, known := p.COP(bin.OutdoorC); !known && needed.Value > 0 {
			return Total{}, 0, fmt.Errorf("the efficiency at %g °C was not seen, and too few outdoor or flow temperatures are known to draw a line", bin.OutdoorC)
		}
		lowJ += max(needed.Low, 0) * bin.Hours * secondsPerHour
		highJ += max(needed.High, 0) * bin.Hours * secondsPerHour
	}
	total, _ := c.Sum(s.plant(p))
	if total.HeatJ <= 0 {
		return Total{}, 0, fmt.Errorf("the house needs no heat in this season")
	}
	return total, (highJ - lowJ) / 2 / total.HeatJ, nil
}

func (s Site) plant(p *Performance) Plant {
	return Plant{
		NeedW: func(outdoorC float64) float64 {
			needed, _ := s.Need(outdoorC)
			return needed.Value
		},
		COP: func(outdoorC float64) float64 {
			cop, _, ok := p.COP(outdoorC)
			if !ok {
				return 1 // where nothing is needed, see space
			}
			return cop
		},
	}
}

// spaceSPF is that of some of the days, NaN where it cannot be told.
func (s Site) spaceSPF(c Climate, days []siteday.Day) float64 {
	p, ok := PerformanceOf(days)
	if !ok {
		return math.NaN()
	}
	total, _, err := s.space(c, p)
	if err != nil {
		return math.NaN()
	}
	return total.SPF()
}

// beyond returns the share of the space heat at temperatures beyond those seen;
// an error when it is too large, or much of it far beyond.
func (s Site) beyond(c Climate, p *Performance) (float64, error) {
	share, far := 0.0, 0.0
	total, rows := c.Sum(s.plant(p))
	for _, row := range rows {
		_, beyondK, _ := p.COP(row.OutdoorC)
		if beyondK > 0 {
			share += row.HeatJ / total.HeatJ
		}
		if beyondK > mostBeyondK {
			far += row.HeatJ / total.HeatJ
		}
	}
	seen := fmt.Sprintf("the %.0f to %.0f °C at which the plant was seen to heat", p.LowC, p.HighC)
	switch {
	case far > farShare:
		return share, fmt.Errorf("%.0f %% of the heat lies more than %d K beyond %s", 100*far, mostBeyondK, seen)
	case share > mostBeyondShare:
		return share, fmt.Errorf("%.0f %% of the heat lies beyond %s", 100*share, seen)
	}
	return share, nil
}

func (s Site) heatingDays() int {
	n := 0
	for i := range s.Days {
		if s.Days[i].Sums.HeatJ[operation.Heating] > 0 {
			n++
		}
	}
	return n
}

// others is what goes on beside space heating, on average.
type others struct{ hotWaterW, hotWaterElectricityW, standbyW float64 }

func (s Site) other() others {
	var heatJ, electricityJ, standbyJ, coveredS float64
	for i := range s.Days {
		sums := &s.Days[i].Sums
		coveredS += sums.CoveredS
		heatJ += sums.HeatJ[operation.HotWater]
		electricityJ += sums.ElectricityJ[operation.HotWater]
		standbyJ += sums.ElectricityJ.Total() - sums.ElectricityJ[operation.HotWater] - sums.ElectricityJ[operation.Heating] - sums.ElectricityJ[operation.Defrost]
	}
	return others{heatJ / coveredS, electricityJ / coveredS, standbyJ / coveredS}
}

// blocks of neighbouring days, which weather makes alike, are left out in turn.
const blocks = 10

// jackknife returns half the 95 % interval of what is computed from days, by how
// it moves when a tenth of them is left out (Quenouille 1949, Tukey 1958). False
// where it cannot be computed without one of the tenths.
func jackknife(days []siteday.Day, of func(days []siteday.Day) float64) (float64, bool) {
	n := min(blocks, len(days))
	if n < 4 {
		return 0, false
	}
	var values []float64
	for b := range n {
		from, to := b*len(days)/n, (b+1)*len(days)/n
		value := of(append(append([]siteday.Day{}, days[:from]...), days[to:]...))
		if math.IsNaN(value) {
			return 0, false
		}
		values = append(values, value)
	}
	spread := stat.StdDev(values, nil) * float64(n-1) / math.Sqrt(float64(n))
	return distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975) * spread, true
}

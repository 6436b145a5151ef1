package capacity

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"coldweek/analysis/siteday"
)

// hour is one hour's settled heating.
type hour struct {
	outdoorC, flowC float64 // flowC is NaN where not known
	heatW, powerW   float64 // backup heater taken out
	labW            float64 // by test points, NaN where not known
	shortK          float64 // flow target less flow, 0 where not known
	backupJ         float64
	heatingS        float64 // with defrosts
	throughout      bool    // it heated without a stop
	throughW        float64 // output over all of it, defrosts included; of hours throughout
	signed          bool    // there is a sign that this was full output
	atFull          bool
}

// hoursOf takes the hours that settled long enough.
func (p *Plant) hoursOf(hours []siteday.Hour, lab *laboratory) []hour {
	var found []hour
	for i := range hours {
		h := &hours[i]
		outdoorC, known := h.Steady.Outdoor.Of()
		if !known || h.Steady.CoveredS < minSettledS {
			continue
		}
		found = append(found, p.hourOf(h, outdoorC, lab))
	}
	return found
}

func (p *Plant) hourOf(h *siteday.Hour, outdoorC float64, lab *laboratory) hour {
	s := &h.Steady
	found := hour{outdoorC: outdoorC, flowC: math.NaN(), labW: math.NaN(), heatingS: h.RunS - h.HotWaterS}
	if flowC, known := s.Flow.Of(); known {
		found.flowC = flowC
		if targetC, known := s.Target.Of(); known {
			found.shortK = targetC - flowC
		}
	}
	if labW, _, known := lab.heatW(outdoorC, found.flowC); known {
		found.labW = labW
	}
	// In an hour of hot water the heater may have been the cylinder's.
	backupW := 0.0
	if h.HotWaterS == 0 && found.heatingS > 0 {
		found.backupJ = h.BackupJ
		backupW = h.BackupJ / found.heatingS
	}
	found.heatW, found.powerW = s.HeatJ/s.CoveredS, s.ElectricityJ/s.CoveredS
	if p.HeatAfterBackup {
		found.heatW -= backupW
	}
	if p.BackupOnMeter {
		found.powerW -= backupW
	}
	if found.throughout = h.HotWaterS == 0 && h.RunS >= throughoutShare*h.S && h.CoveredS >= throughoutShare*h.S; found.throughout {
		found.throughW = h.SpaceJ / h.CoveredS
		if p.HeatAfterBackup {
			found.throughW -= backupW
		}
	}
	return found
}

// band is the hours of binK of outdoor temperature.
type band struct {
	low   int // °C
	hours []*hour
}

// bandsOf sorts hours by ascending outdoor temperature.
func bandsOf(hours []hour) []band {
	at := map[int]*band{}
	var lows []int
	for i := range hours {
		low := int(math.Floor(hours[i].outdoorC/binK)) * binK
		if at[low] == nil {
			at[low] = &band{low: low}
			lows = append(lows, low)
		}
		at[low].hours = append(at[low].hours, &hours[i])
	}
	slices.Sort(lows)
	var bands []band
	for _, low := range lows {
		bands = append(bands, *at[low])
	}
	return bands
}

// quantile of what hours have, of those that are wanted; 0 of none.
func (b *band) quantile(share float64, value func(*hour) float64, wanted func(*hour) bool) (float64, int) {
	var values []float64
	for _, h := range b.hours {
		if wanted(h) {
			values = append(values, value(h))
		}
	}
	if len(values) == 0 {
		return 0, 0
	}
	slices.Sort(values)
	return stat.Quantile(share, stat.Empirical, values, nil), len(values)
}

func quantileOf(hours []hour, share float64, value func(*hour) float64) float64 {
	all := band{}
	for i := range hours {
		all.hours = append(all.hours, &hours[i])
	}
	v, _ := all.quantile(share, value, anyHour)
	return v
}

func anyHour(*hour) bool { return true }

func powerOf(h *hour) float64 { return h.powerW }

func heatOf(h *hour) float64 { return h.heatW }

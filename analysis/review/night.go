package review

import (
	"fmt"
	"time"

	"coldweek/analysis/capacity"
	"coldweek/analysis/siteday"
	"coldweek/analysis/watch"
)

// Night is the coldest hours in a row, as many as make weather colder than designed
// for. Nil is not known.
type Night struct {
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	OutdoorC float64   `json:"outdoor_c"`
	DesignC  *float64  `json:"design_c"`
	// HeatKW is what the plant gave on average, hot water included; FullKW what it
	// could have given at that outdoor temperature, and FullBasis what says so.
	HeatKW      *float64 `json:"heat_kw"`
	FullKW      *float64 `json:"full_kw"`
	FullBasis   *string  `json:"full_basis"`
	ShareOfFull *float64 `json:"share_of_full"`
	FlowC       *float64 `json:"flow_c"` // in steady heating
	RoomC       *float64 `json:"room_c"`
	BackupKWh   *float64 `json:"backup_kwh"`
	// BeyondK is by how much the design lies below these hours: extrapolated, not seen.
	BeyondK *float64 `json:"beyond_k"`
	// NeededAtDesignKW is the house's, FullAtDesignKW the machine's, both so extrapolated.
	NeededAtDesignKW *float64 `json:"needed_at_design_kw"`
	FullAtDesignKW   *float64 `json:"full_at_design_kw"`
}

// nightHours in a row are the coldest night.
const nightHours = int(watch.ColderThanDesign / time.Hour)

// coldestNight returns nil where so many hours in a row are not known.
func (w *Week) coldestNight() *Night {
	hours := w.coldestHours()
	if hours == nil {
		return nil
	}
	sum := summed(hours)
	n := &Night{From: hours[0].From, To: hours[len(hours)-1].From.Add(time.Hour), DesignC: w.Limits.DesignOutdoorC}
	n.OutdoorC, _ = sum.Outdoor.Of()
	n.FlowC, n.RoomC = meanOf(sum.Steady.Flow), meanOf(sum.Room)
	if sum.CoveredS >= w.Enough*sum.S {
		n.HeatKW = new((sum.SpaceJ + sum.HotWaterJ) / sum.CoveredS / 1000)
		if w.Sums.BackupKnownS > 0 {
			n.BackupKWh = new(sum.BackupJ / joulePerKWh)
		}
	}
	if full, ok := w.FullW(n.OutdoorC); ok && full.Value > 0 {
		n.FullKW, n.FullBasis = new(full.Value/1000), new(string(w.Sizing.Basis))
		if n.HeatKW != nil {
			n.ShareOfFull = new(*n.HeatKW / *n.FullKW)
		}
	}
	if n.DesignC != nil {
		n.BeyondK = new(max(0, n.OutdoorC-*n.DesignC))
	}
	if e := w.Sizing.NeededAtDesign; e != nil {
		n.NeededAtDesignKW = new(e.Value / 1000)
	}
	if e := w.Sizing.AtDesign; e != nil {
		n.FullAtDesignKW = new(e.Value / 1000)
	}
	return n
}

const joulePerKWh = 3.6e6

// coldestHours are the coldest in a row of which the outdoor temperature is known.
func (w *Week) coldestHours() []siteday.Hour {
	var coldest []siteday.Hour
	lowestC := 0.0
	for i := 0; i+nightHours <= len(w.Sums.Hours); i++ {
		hours := w.Sums.Hours[i : i+nightHours]
		if hours[nightHours-1].From.Sub(hours[0].From) > time.Duration(nightHours-1)*time.Hour {
			continue
		}
		sum := summed(hours)
		if meanC, ok := sum.Outdoor.Of(); ok && sum.Outdoor.S >= w.Enough*sum.S && (coldest == nil || meanC < lowestC) {
			coldest, lowestC = hours, meanC
		}
	}
	return coldest
}

// summed adds up what the page shows of hours.
func summed(hours []siteday.Hour) siteday.Hour {
	var sum siteday.Hour
	for i := range hours {
		h := &hours[i]
		sum.S, sum.CoveredS = sum.S+h.S, sum.CoveredS+h.CoveredS
		sum.SpaceJ, sum.HotWaterJ, sum.BackupJ = sum.SpaceJ+h.SpaceJ, sum.HotWaterJ+h.HotWaterJ, sum.BackupJ+h.BackupJ
		sum.Outdoor, sum.Room, sum.Steady.Flow = sum.Outdoor.Plus(h.Outdoor), sum.Room.Plus(h.Room), sum.Steady.Flow.Plus(h.Steady.Flow)
	}
	return sum
}

func meanOf(m siteday.Mean) *float64 {
	if v, ok := m.Of(); ok {
		return &v
	}
	return nil
}

// nightInWords says what was seen, and how far the design lies beyond it.
func (w *Week) nightInWords() string {
	n := w.night
	if n == nil {
		return ""
	}
	text := fmt.Sprintf("At %.1f °C", n.OutdoorC)
	switch {
	case n.ShareOfFull != nil && w.Sizing.Basis == capacity.Laboratory:
		text += fmt.Sprintf(" it gave %.0f %% of full output by its test points", 100**n.ShareOfFull)
	case n.ShareOfFull != nil:
		text += fmt.Sprintf(" it gave %.0f %% of full output", 100**n.ShareOfFull)
	case n.HeatKW != nil:
		text += fmt.Sprintf(" it gave %.1f kW", *n.HeatKW)
	}
	switch b := n.BeyondK; {
	case b == nil:
	case *b >= 0.05:
		text += fmt.Sprintf("; the last %.1f K to the design are extrapolated", *b)
	default:
		text += "; the design temperature was reached"
	}
	return text + ". "
}

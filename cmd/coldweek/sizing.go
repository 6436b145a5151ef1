package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"coldweek/analysis/capacity"
	"coldweek/analysis/comfort"
	"coldweek/analysis/job"
	"coldweek/analysis/season"
)

// writeSizing says whether the machine is large enough, in one line where that
// is not known.
func writeSizing(out io.Writer, r *job.Result) {
	s := &r.Sizing
	fmt.Fprintf(out, "Capacity: %s; %s\n", s.Verdict, s.Why)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	if s.AtDesign != nil {
		fmt.Fprintf(w, "  output at design\t%s\n", outputWords(s))
	}
	if s.NeededAtDesign != nil {
		fmt.Fprintf(w, "  needed there\t%.1f kW (%.1f to %.1f) for the rooms; hot water takes %.0f %% of the time\n",
			s.NeededAtDesign.Value/1000, s.NeededAtDesign.Low/1000, s.NeededAtDesign.High/1000, 100*s.HotWaterShare)
	}
	if s.Balance != nil {
		fmt.Fprintf(w, "  balance point\t%s\n", balanceWords(s.Balance))
	}
	if s.Basis == capacity.Shown {
		fmt.Fprintf(w, "  full output\t%s of the time (%s h), seen from %.0f to %.0f °C outdoors by %s\n",
			percent(s.ShareOfTimeAtFull), num(s.HoursAtFull, 1), *s.FullFromC, *s.FullToC, signWords(s.Signs))
	}
	if r.Capacity.BackupHours != nil {
		fmt.Fprintf(w, "  backup heater\t%.1f h\n", *r.Capacity.BackupHours)
	}
	w.Flush()
	fmt.Fprintln(out)
}

func signWords(signs []capacity.Sign) string {
	var words []string
	for _, s := range signs {
		words = append(words, string(s))
	}
	return strings.Join(words, ", ")
}

func outputWords(s *capacity.Report) string {
	words := fmt.Sprintf("%.1f kW (%.1f to %.1f) between defrosts, by %s", s.AtDesign.Value/1000, s.AtDesign.Low/1000, s.AtDesign.High/1000,
		map[capacity.Basis]string{capacity.Shown: "what it has shown", capacity.Laboratory: "its laboratory points"}[s.Basis])
	if s.SustainedRatio < 1 {
		words += fmt.Sprintf("; %.0f %% of it with frost and defrosts", 100*s.SustainedRatio)
	}
	if s.BeyondK > 0.5 {
		words += fmt.Sprintf("; drawn on %.0f K beyond what was measured", s.BeyondK)
	}
	return words
}

func balanceWords(b *capacity.Balance) string {
	if b.BelowC != nil {
		words := fmt.Sprintf("below %.0f °C outdoors, as far as the lines are known", *b.BelowC)
		if !math.IsNaN(b.HighC) {
			words += fmt.Sprintf(" (at worst %.0f °C)", b.HighC)
		}
		return words
	}
	low, high := "lower", "higher"
	if !math.IsNaN(b.LowC) {
		low = fmt.Sprintf("%.0f", b.LowC)
	}
	if !math.IsNaN(b.HighC) {
		high = fmt.Sprintf("%.0f", b.HighC)
	}
	return fmt.Sprintf("%.1f °C outdoors (%s to %s): below it the machine alone does not keep up", b.OutdoorC, low, high)
}

// writeRooms says how the rooms held.
func writeRooms(out io.Writer, r *job.Result) {
	if len(r.Rooms.Rooms) == 0 {
		fmt.Fprint(out, "Rooms: not known, no room temperature is measured\n\n")
		return
	}
	fmt.Fprintf(out, "Rooms (below means by more than %g K):\n", comfort.AllowanceK)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, room := range r.Rooms.Rooms {
		place := room.Place
		if place == "" {
			place = "room"
		}
		fmt.Fprintf(w, "  %s\tmean %.1f °C, 95 %% of the time above %.1f; %s\n", place, room.MeanC, room.P5C, belowWords(room))
	}
	w.Flush()
	if c := r.Rooms.Coldest; c != nil {
		fmt.Fprintf(out, "  in the coldest %d hours, %.1f °C outdoors on average and %.1f at the lowest, the rooms were at %.1f °C, at the lowest %.1f%s\n",
			c.Hours, c.OutdoorC, c.LowestC, c.RoomC, c.LowestRoomC, otherwiseWords(c))
	}
	fmt.Fprintln(out)
}

func belowWords(room comfort.Room) string {
	if room.HoursBelowSet == nil {
		return "its set temperature is not in the record"
	}
	return fmt.Sprintf("%.1f of %.0f h below the %g °C set", *room.HoursBelowSet, room.KnownHours, *room.SetC)
}

func otherwiseWords(c *comfort.Coldest) string {
	if math.IsNaN(c.OtherwiseC) {
		return ""
	}
	return fmt.Sprintf(" (otherwise %.1f)", c.OtherwiseC)
}

// writeCost says what the electricity cost and emitted.
func writeCost(out io.Writer, c *season.Cost, spf *float64) {
	if c.ElectricityKWh == 0 {
		return
	}
	fmt.Fprintf(out, "Cost: %s\n", moneyWords(c))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	if len(c.Rates) > 1 {
		for _, rate := range c.Rates {
			fmt.Fprintf(w, "  at %g %s/kWh\t%.1f kWh\n", rate.PricePerKWh, c.Currency, rate.KWh)
		}
	}
	if c.CarbonKg != nil {
		fmt.Fprintf(w, "  carbon\t%.1f kg\n", *c.CarbonKg)
	}
	if f := c.Former; f != nil {
		fmt.Fprintf(w, "  %s\t%s\n", formerName(f), formerWords(c, spf))
	}
	w.Flush()
	fmt.Fprintln(out)
}

func moneyWords(c *season.Cost) string {
	if c.Money == nil {
		if len(c.Rates) > 0 {
			return fmt.Sprintf("not known, the record has no price for %.1f kWh outside its time_of_use spans", c.UnpricedKWh)
		}
		return "not known, the record has no price (tariff: price_per_kwh)"
	}
	return fmt.Sprintf("%.2f %s for %.1f kWh of electricity, %.3f a kWh", *c.Money, c.Currency, c.ElectricityKWh, *c.PricePerKWh)
}

func formerName(f *season.FormerCost) string {
	if f.Fuel == "" {
		return "the former fuel"
	}
	return f.Fuel
}

func formerWords(c *season.Cost, spf *float64) string {
	parts := []string{fmt.Sprintf("%.0f kWh for the same heat", c.Former.FuelKWh)}
	if c.Former.Money != nil {
		parts = append(parts, fmt.Sprintf("%.2f %s", *c.Former.Money, c.Currency))
	}
	if c.Former.CarbonKg != nil {
		parts = append(parts, fmt.Sprintf("%.1f kg of carbon", *c.Former.CarbonKg))
	}
	text := strings.Join(parts, ", ")
	if c.BreakEvenSPF != nil {
		text += fmt.Sprintf("; as dear at an SPF of %.2f (here %s)", *c.BreakEvenSPF, num(spf, 2))
	}
	return text
}

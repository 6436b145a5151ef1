package review

import (
	"fmt"
	"strings"
	"time"
)

// Words of a state, for people.
func (s State) Words() string {
	switch s {
	case Good:
		return "good"
	case Look:
		return "look at this"
	}
	return "not known yet"
}

// Words of a basis, for people.
func (b Basis) Words() string {
	switch b {
	case ByMaker:
		return "the maker's limit, in the site record"
	case ByDesign:
		return "the design, in the site record"
	case BySetting:
		return "as set, in the site record"
	case Published:
		return "published"
	}
	return "common practice"
}

// Number is the point's number with its unit and its interval, "" where it is not
// known.
func (p *Point) Number() string {
	if p.Value == nil {
		return ""
	}
	text := strings.TrimRight(fmt.Sprintf("%.*f %s", p.Decimals, *p.Value, p.Unit), " ")
	if p.Low != nil && p.High != nil {
		text += fmt.Sprintf(" (%.*f to %.*f)", p.Decimals, *p.Low, p.Decimals, *p.High)
	}
	return text
}

// Held is the limit with what it stands on, "" where none is known.
func (p *Point) Held() string {
	if p.Limit.Basis == nil {
		return ""
	}
	return fmt.Sprintf("%s: %s", p.Limit.Basis.Words(), p.Limit.Source)
}

// Period writes the days.
func (r *Review) Period() string {
	last := r.To.Add(-time.Hour)
	switch {
	case r.From.Year() != last.Year():
		return r.From.Format("Mon 2 Jan 2006") + " to " + last.Format("Mon 2 Jan 2006")
	case r.From.YearDay() == last.YearDay():
		return r.From.Format("Mon 2 Jan 2006")
	}
	return r.From.Format("Mon 2 Jan") + " to " + last.Format("Mon 2 Jan 2006")
}

// HowCold says how cold it got, and how much of the time is known.
func (r *Review) HowCold() string {
	c, text := &r.Cold, "The outdoor temperature is not known."
	if c.MeanC != nil {
		text = fmt.Sprintf("Outdoors %.1f °C on average", *c.MeanC)
		if c.DayC != nil {
			text += fmt.Sprintf(", %.1f on the coldest day", *c.DayC)
		}
		if c.HourC != nil {
			text += fmt.Sprintf(", %.1f in the coldest hour", *c.HourC)
		}
		if c.DesignC != nil {
			text += fmt.Sprintf("; designed for %.0f °C", *c.DesignC)
		}
		text += "."
	}
	return text + fmt.Sprintf(" Heat and electricity are known for %.0f %% of the time.", 100*r.Coverage)
}

// Score says how many points are in each state.
func (r *Review) Score() string {
	return fmt.Sprintf("%d good, %d to look at, %d not known yet", r.Counts.Good, r.Counts.Look, r.Counts.NotKnown)
}

// Figure is a name with a number in words.
type Figure struct{ Name, Number string }

// Figures are the coldest night's, those that are known.
func (n *Night) Figures() []Figure {
	var all []Figure
	add := func(name, format string, value *float64) {
		if value != nil {
			all = append(all, Figure{name, fmt.Sprintf(format, *value)})
		}
	}
	add("Outdoors", "%.1f °C", &n.OutdoorC)
	add("Design", "%.0f °C", n.DesignC)
	add("Heat given", "%.1f kW", n.HeatKW)
	if n.ShareOfFull != nil {
		add("Share of full output", "%.0f %%", new(100**n.ShareOfFull))
	}
	add("Flow", "%.1f °C", n.FlowC)
	add("Rooms", "%.1f °C", n.RoomC)
	add("Backup heater", "%.1f kWh", n.BackupKWh)
	return all
}

// Beyond says what of the way to the design was not seen.
func (n *Night) Beyond() string {
	switch b := n.BeyondK; {
	case b == nil:
		return "The record has no design outdoor temperature to hold this against."
	case *b < 0.05:
		return "It was as cold as designed for: nothing is extrapolated."
	}
	text := fmt.Sprintf("The design lies %.1f K below that: extrapolated, not seen.", *n.BeyondK)
	if n.NeededAtDesignKW != nil {
		text += fmt.Sprintf(" There the house takes about %.1f kW", *n.NeededAtDesignKW)
		if n.FullAtDesignKW != nil {
			text += fmt.Sprintf(", and the machine gives up to %.1f kW between defrosts", *n.FullAtDesignKW)
			if *n.FullBasis == "laboratory" {
				text += " by its test points"
			}
		}
		text += "."
	}
	return text
}

// Open are the findings that lasted at the end of the days.
func (r *Review) Open() []Finding {
	var open []Finding
	for _, f := range r.Findings {
		if f.Until == nil {
			open = append(open, f)
		}
	}
	return open
}

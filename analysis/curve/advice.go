package curve

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coldweek/analysis/comfort"
	"coldweek/analysis/siteday"
)

// Kind is what an advice comes to.
type Kind string

// The kinds.
const (
	Unknown Kind = "not known"
	Lower   Kind = "lower"
	Keep    Kind = "keep"
	Raise   Kind = "raise"
)

// Advice says whether the curve may come down, and in what steps.
type Advice struct {
	Kind    Kind
	StepK   float64 // of the next step; 0 for none
	Why     string
	Steps   []string // in order, for an engineer
	Remarks []string // what to keep in mind
	Gain    *Gain    // of the next step down
	Lowest  *Lowest  // nil: not known, then Missing says why
	Missing string
}

// Surroundings are what else of a plant concerns an advice. Nil is not known.
type Surroundings struct {
	Comfort        comfort.Report
	MinimumFlowLPH *float64
	ShortCycling   bool
}

const (
	// stepK is a step down that people notice in time and engineers take (common
	// practice, no source).
	stepK = 2
	// worthK is the least a curve must lie above what is needed for a step.
	worthK = 1.5
	// warmK above its set point even in its coldest hours a room has warmth to
	// spare (common practice, no source).
	warmK = 0.3
	// leastStepK is what a controller can be set by.
	leastStepK = 0.5
)

// Advise judges a fitted curve.
func (f *Fit) Advise(s *siteday.Sums, k Known, need Need, around Surroundings) Advice {
	a := Advice{Kind: Unknown}
	if f.Verdict != Usable {
		a.Why, a.Missing = f.Why, "there is no curve to lower"
		return a
	}
	a.Lowest, a.Missing = f.LowestOf(s, k, need)
	short, known := shortRooms(around.Comfort)
	switch {
	case !known:
		a.Why = "no room temperatures with a set point tell whether the rooms hold"
	case len(short) > 0:
		a.judgeShort(short, around.Comfort)
	default:
		a.judgeHeld(around.Comfort)
	}
	if a.Kind == Lower {
		a.Gain = GainOf(s, a.StepK)
		a.steps(f)
	}
	if a.Kind != Unknown {
		a.remarks(f, s, &k, around)
	}
	return a
}

// shortRooms are those that did not hold, in words; false where no room tells.
func shortRooms(c comfort.Report) (short []string, known bool) {
	for _, room := range c.Rooms {
		held, told := room.Held()
		known = known || told
		if told && !held {
			short = append(short, fmt.Sprintf("%s was more than %.1f K below %.1f °C for %.0f of %.0f h", name(room.Place), comfort.AllowanceK, *room.SetC, *room.HoursBelowSet, room.KnownHours))
		}
	}
	return short, known
}

func name(place string) string {
	if place == "" {
		return "the room"
	}
	return place
}

// judgeShort: rooms that are cold already decide against lowering; the curve is
// raised only where it is known to be too low.
func (a *Advice) judgeShort(short []string, c comfort.Report) {
	a.Kind = Keep
	a.Why = strings.Join(short, "; ")
	if l := a.Lowest; l != nil && l.MarginK.High < 0 && l.MarginK.Value <= -worthK {
		m := l.MarginK
		a.Kind, a.StepK = Raise, min(stepK, halves(-m.Value))
		a.Why += fmt.Sprintf("; the curve lies %.1f K below what the emitters need at %.0f °C outdoors (%.1f to %.1f)", -m.Value, l.AtC, -m.High, -m.Low)
		a.Steps = []string{
			fmt.Sprintf("Raise the curve by %.1f K.", a.StepK),
			"Watch the rooms for three cold days; raise again only while they stay short.",
		}
		return
	}
	if len(short) < len(c.Rooms) {
		a.Steps = []string{"Other rooms hold: give the cold ones more water, or larger emitters, before the whole house gets a warmer curve."}
		return
	}
	a.Steps = []string{"Find out why before the curve is touched: valves, balance of the circuits, set-back times, and whether the machine reaches its target."}
}

// judgeHeld: the rooms held, so the curve may be tried lower as far as it is
// known to lie above what they need, or as they are warmer than promised.
func (a *Advice) judgeHeld(c comfort.Report) {
	a.Kind = Keep
	if a.Lowest == nil {
		spareK, place := spare(c)
		a.Why = fmt.Sprintf("the rooms hold, but how low the curve can go is not known: %s", a.Missing)
		if spareK >= warmK {
			a.Kind, a.StepK = Lower, stepK/2
			a.Why = fmt.Sprintf("even in its coldest hours %s is %.1f K above its set point; how low the curve can go is not known: %s", name(place), spareK, a.Missing)
		}
		return
	}
	m, at := a.Lowest.MarginK, a.Lowest.AtC
	where := fmt.Sprintf("%.1f K at %.0f °C outdoors (%.1f to %.1f)", m.Value, at, m.Low, m.High)
	switch {
	case m.Value >= worthK && m.Low > 0:
		a.Kind, a.StepK = Lower, min(stepK, halves(m.Value))
		a.Why = "the rooms hold, and the curve lies above what they need by at least " + where
	case m.Value >= worthK:
		a.Kind, a.StepK = Lower, stepK/2
		a.Why = "the rooms hold, and the curve seems to lie above what they need, by " + where + ": a small step will tell"
	case m.Value < 0:
		a.Why = fmt.Sprintf("the rooms hold and the curve is no higher than they need: %.1f K below it, at %.0f °C outdoors (%.1f to %.1f)", -m.Value, at, -m.High, -m.Low)
	default:
		a.Why = "the rooms hold and there is little to be had: the curve lies above what they need by " + where
	}
}

// spare is how far the coldest hours of the coldest room, by its set point, are
// above it.
func spare(c comfort.Report) (leastK float64, place string) {
	leastK = math.Inf(1)
	for _, room := range c.Rooms {
		if room.SetC != nil && room.P5C-*room.SetC < leastK {
			leastK, place = room.P5C-*room.SetC, room.Place
		}
	}
	return leastK, place
}

// halves rounds down to what a controller can be set to.
func halves(stepK float64) float64 { return math.Floor(stepK/leastStepK) * leastStepK }

// steps are what an engineer would do.
func (a *Advice) steps(f *Fit) {
	a.Steps = []string{fmt.Sprintf("Lower the whole curve by %.1f K%s.", a.StepK, a.tilt())}
	a.Steps = append(a.Steps, fmt.Sprintf("Watch it for three cold days, below %.0f °C outdoors, with the valves of the coldest room fully open.", coldDayC(f)))
	if a.Lowest != nil && a.Lowest.MarginK.Value >= a.StepK+worthK {
		last := a.Lowest.Points[0]
		a.Steps = append(a.Steps, fmt.Sprintf("While every room stays within %.1f K of its set point, go on in steps of %.0f K, down to a flow of %.0f °C at %.0f °C outdoors at the lowest (%.0f to %.0f).",
			comfort.AllowanceK, float64(stepK), last.FlowC.Value, last.OutdoorC, last.FlowC.Low, last.FlowC.High))
	}
	a.Steps = append(a.Steps, "If a room falls short, go one step back: that is the curve.")
}

// tilt says where a curve that is much too high at one end should give more.
func (a *Advice) tilt() string {
	if a.Lowest == nil {
		return ""
	}
	cold, mild := a.Lowest.Points[0], a.Lowest.Points[0]
	for _, p := range a.Lowest.Points {
		if p.OutdoorC <= judgedToC {
			mild = p
		}
	}
	differ := less(cold.MarginK, mild.MarginK)
	switch {
	case differ.Low > 1:
		return fmt.Sprintf("; it is also too steep: %.1f K too high at %.0f °C, %.1f K at %.0f °C", cold.MarginK.Value, cold.OutdoorC, mild.MarginK.Value, mild.OutdoorC)
	case differ.High < -1:
		return fmt.Sprintf("; it is also too flat: %.1f K too high at %.0f °C, %.1f K at %.0f °C", cold.MarginK.Value, cold.OutdoorC, mild.MarginK.Value, mild.OutdoorC)
	}
	return ""
}

// coldDayC is the outdoor temperature below which a quarter of the hours were.
func coldDayC(f *Fit) float64 {
	sorted := slices.Sorted(slices.Values(f.candidates[0].outdoorC))
	return math.Floor(sorted[len(sorted)/4])
}

// remarks say what the advice does not touch and where it could hurt.
func (a *Advice) remarks(f *Fit, s *siteday.Sums, k *Known, around Surroundings) {
	say := func(text string, values ...any) { a.Remarks = append(a.Remarks, fmt.Sprintf(text, values...)) }
	if a.Kind == Lower {
		say("Hot water and its hygiene runs have temperatures of their own: leave them as they are.")
	}
	if p10LPH, ok := s.Flow.Quantile(0.1); ok && around.MinimumFlowLPH != nil && p10LPH < 1.1**around.MinimumFlowLPH {
		say("The flow falls to %.0f l/h, near the machine's minimum of %.0f l/h: open valves rather than close them.", p10LPH, *around.MinimumFlowLPH)
	}
	if around.ShortCycling && a.Kind == Lower {
		heat, starts := heatPerStart(s)
		say("The plant cycles, with %.1f kWh of heat per start (%.0f starts): emitters take less from cooler water, so runs may become shorter still where the machine is at its lowest output; cure that first.", heat, starts)
	}
	if a.Lowest != nil && k.MinimumFlowC != nil && a.Kind == Lower {
		for _, p := range a.Lowest.Points {
			if p.OutdoorC <= judgedToC && p.FlowC.Value < *k.MinimumFlowC {
				say("At %.0f °C outdoors %.0f °C would do, but the controller's lower limit is %.0f °C.", p.OutdoorC, p.FlowC.Value, *k.MinimumFlowC)
			}
		}
	}
	if a.Lowest != nil && k.DesignOutdoorC != nil && f.ColdestC > *k.DesignOutdoorC+5 {
		say("The coldest hours seen, %.0f °C, are far from the design's %.0f °C: what holds there is reckoned, not seen.", f.ColdestC, *k.DesignOutdoorC)
	}
}

// heatPerStart is what heating runs give each, in kWh.
func heatPerStart(s *siteday.Sums) (heatKWh, starts float64) {
	for _, run := range s.Runs {
		if run.Started && run.HotWaterS == 0 {
			heatKWh, starts = heatKWh+run.Took.HeatJ/joulePerKWh, starts+1
		}
	}
	return heatKWh / max(starts, 1), starts
}

const joulePerKWh = 3.6e6

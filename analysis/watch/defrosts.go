package watch

import (
	"fmt"
	"math"
	"time"

	"coldweek/analysis/defrost"
	"coldweek/analysis/siteday"
)

const (
	// Running time from one defrost to the next: 30 minutes in the severest frost
	// (Zhu 2015), of which controllers may fall a little short; colder than coldC
	// there is little water in the air, and intervals are longer (common practice,
	// no source).
	oftenMinutes, oftenColdMinutes = 27, 32
	frostyC, coldC                 = -3, -8
	// rarer by so much, it is clear.
	rarerTimes = 1.2
	// longMinutes: 12 minutes are long (common practice, no source), and the ends
	// of a defrost are good to half a minute or so.
	longMinutes, fairMinutes = 12.75, 12
	// mildC: no frost forms in warmer air (Zhu 2015: none from 6 °C on). What is
	// shorter than leastMild may be a changeover.
	mildC, leastMild = 8, 2 * time.Minute
	// So many defrosts more of one kind than of the other open and close. Short
	// intervals must go on for some three hours of running: fog and sleet bring them to
	// sound plants too, and pass (common practice, no source).
	defrostCount, oftenCount = 3, 6
	// defrostGap: frost comes and goes with the weather.
	defrostGap = 3 * day
	// clearHours of running without a defrost are as good as one that came late.
	clearHours = 1.5
	// fullShare of the usual length: so long a defrost had much to melt. The usual
	// is that of at least usualCount defrosts that came later than rareMinutes.
	fullShare, usualCount, rareMinutes = 0.85, 3, 35
	// soonerShare of the plant's own usual interval in air within alikeK: what frosts
	// over sooner than that had frost on it from the start. In severe frost a coil does
	// so by itself, but then it always did.
	soonerShare, alikeK = 0.75, 2
)

const defrostCaution = "Work on the refrigerant circuit is for licensed people, as local rules say; keep clear of the fan."

// defrostPieces are the defrosts with a sign each.
func defrostPieces(all []defrost.Episode, sign func(e *defrost.Episode) (Sign, float64)) []Piece {
	pieces := make([]Piece, len(all))
	for i := range all {
		p := Piece{From: all[i].From, To: all[i].To}
		if !all[i].OpenBefore && !all[i].OpenAfter {
			p.Sign, p.S = sign(&all[i])
		}
		pieces[i] = p
	}
	return pieces
}

// Defrosts are those of all days, with the running time before each.
func (c *Case) Defrosts() []defrost.Episode {
	if c.defrosts == nil {
		c.defrosts = defrost.Summarise(c.Events()).Episodes
	}
	return c.defrosts
}

// OftenBelowMinutes is the running time from one defrost to the next that is short.
func OftenBelowMinutes(outdoorC *float64) float64 {
	if outdoorC == nil {
		return oftenMinutes
	}
	colder := min(max((frostyC-*outdoorC)/(frostyC-coldC), 0), 1)
	return oftenMinutes + colder*(oftenColdMinutes-oftenMinutes)
}

// defrostOften tells of defrosts that follow each other closely: on a clean coil,
// as by a clock, or because they do not clear it.
func defrostOften(c *Case) []Finding {
	all := c.Defrosts()
	pieces := defrostPieces(all, func(e *defrost.Episode) (Sign, float64) {
		if e.RunBeforeS == nil {
			return Unclear, 0
		}
		minutes, limit := *e.RunBeforeS/60, OftenBelowMinutes(e.OutdoorC)
		switch {
		case minutes < limit:
			return Bad, 1
		case minutes > rarerTimes*limit:
			return Clear, min(max(minutes/60/clearHours, 1), defrostCount)
		}
		return Unclear, 0
	})
	if last := len(all) - 1; last >= 0 {
		pieces = append(pieces, c.runningSince(all[last].To))
	}
	var found []Finding
	for _, e := range bridge(closed(Hold{oftenCount, defrostCount}.Episodes(pieces), pieces), defrostGap, c.dataUntil()) {
		if e.First > 0 {
			e.Since = all[e.First-1].From // the interval began with the defrost before
		}
		found = append(found, oftenFinding(all, e))
	}
	return found
}

// runningSince is the running time after the last defrost as a piece that is clear
// once it is long.
func (c *Case) runningSince(since time.Time) Piece {
	p := Piece{From: since, To: c.Now}
	ranS := 0.0
	for i := len(c.Slots) - 1; i >= 0 && !c.Slots[i].From.Before(since); i-- {
		ranS += c.Slots[i].RunS()
	}
	if hours := ranS / 3600; hours > clearHours {
		p.Sign, p.S = Clear, min(hours/clearHours, defrostCount)
	}
	return p
}

func oftenFinding(all []defrost.Episode, e Episode) Finding {
	last := min(e.Last, len(all))
	intervals, lengths, outdoor := defrost.Figures(all[e.First:last])
	f := Finding{
		Kind: "defrost_often", Severity: Attention, Since: e.Since, Until: e.Until,
		Evidence: []Figure{{"median_interval_minutes", median(intervals), "min", 0}, {"defrosts", float64(last - e.First), "", 0}, {"median_minutes", median(lengths), "min", 1}},
		Title:    fmt.Sprintf("A defrost every %.0f minutes of running", median(intervals)),
		Causes:   []string{"defrosts by the clock, needed or not", "a sensor on the coil that reads too cold", "lost refrigerant, a dirty coil or a slow fan, which make the coil colder"},
		Next:     []string{"look at the coil just before and just after a defrost: is there frost, and is it gone?", "read the defrost settings: on demand, not by the clock", "hold the coil's sensor against a thermometer"},
		Caution:  defrostCaution,
	}
	if usual, ok := notClearing(all[:e.First], all[e.First:min(e.First+oftenCount, last)]); ok {
		f.Kind = "defrost_not_clearing"
		f.Title = fmt.Sprintf("Defrosts do not clear the coil: one every %.0f minutes of running, each as long as usual", median(intervals))
		f.Evidence = append(f.Evidence, Figure{"usual_minutes", usual, "min", 1})
		f.Causes = []string{"defrosts that end too early", "a coil sensor that reads too warm or sits wrong", "water that cannot drain and freezes again", "too little heat for the defrost: low flow or cold water"}
		f.Next = []string{"look at the coil after a defrost, at its foot above all: is there ice left?", "see that the drain and its heater are free and warm", "read the temperature at which a defrost ends, and hold the sensor against a thermometer", "see that the flow is right"}
	}
	if !math.IsNaN(median(outdoor)) {
		f.Evidence = append(f.Evidence, Figure{"outdoor_c", median(outdoor), "°C", 0})
	}
	return f
}

// notClearing says whether defrosts had as much to melt as is usual, though they
// came much sooner than they used to in such air; usual is their length in minutes.
func notClearing(before, since []defrost.Episode) (usual float64, ok bool) {
	intervals, lengths, outdoorC := defrost.Figures(since)
	usual, known := usualLength(before)
	if !known || !(median(lengths) >= fullShare*usual) {
		return 0, false
	}
	return usual, median(intervals) < soonerShare*usualInterval(before, median(outdoorC))
}

// usualInterval in minutes of running, in such air; NaN without enough of them.
func usualInterval(all []defrost.Episode, outdoorC float64) float64 {
	var minutes []float64
	for i := range all {
		if e := &all[i]; e.RunBeforeS != nil && e.OutdoorC != nil && math.Abs(*e.OutdoorC-outdoorC) <= alikeK {
			minutes = append(minutes, *e.RunBeforeS/60)
		}
	}
	if len(minutes) < usualCount {
		return math.NaN()
	}
	return median(minutes)
}

// usualLength in minutes is that of defrosts that came late enough.
func usualLength(all []defrost.Episode) (float64, bool) {
	var minutes []float64
	for i := range all {
		if e := &all[i]; e.RunBeforeS != nil && *e.RunBeforeS > rareMinutes*60 {
			minutes = append(minutes, e.Length().Minutes())
		}
	}
	return median(minutes), len(minutes) >= usualCount
}

// defrostLong tells of defrosts that go on for too long.
func defrostLong(c *Case) []Finding {
	all := c.Defrosts()
	pieces := defrostPieces(all, func(e *defrost.Episode) (Sign, float64) {
		switch minutes := e.Length().Minutes(); {
		case minutes > longMinutes:
			return Bad, 1
		case minutes < fairMinutes:
			return Clear, 1
		}
		return Unclear, 0
	})
	var found []Finding
	for _, e := range (Hold{defrostCount, defrostCount + 1}).Episodes(pieces) {
		_, lengths, _ := defrost.Figures(all[e.First:e.Last])
		found = append(found, Finding{
			Kind: "defrost_long", Severity: Attention, Since: e.Since, Until: e.Until,
			Title:    fmt.Sprintf("Defrosts last %.0f minutes", median(lengths)),
			Evidence: []Figure{{"median_minutes", median(lengths), "min", 1}, {"defrosts", float64(e.Last - e.First), "", 0}},
			Causes:   []string{"a defrost that ends by time and not by temperature", "a coil sensor that sits wrong or has failed", "too little heat for the defrost: low flow or cold water", "a four-way valve that does not turn fully", "thick ice on the coil"},
			Next:     []string{"read the temperature at which a defrost ends, and hold the sensor against a thermometer", "watch a defrost: is the coil clear long before it ends?", "see that the flow during a defrost is right"},
			Caution:  defrostCaution,
		})
	}
	return found
}

// defrostMild tells of defrosts in air in which no frost forms.
func defrostMild(c *Case) []Finding {
	var mild []siteday.Defrost
	var episodes []Episode
	for _, d := range c.Events().Defrosts {
		if d.OutdoorC != nil && *d.OutdoorC > mildC && d.To.Sub(d.From) >= leastMild && !d.OpenBefore && !d.OpenAfter {
			episodes = append(episodes, Episode{Since: d.From, Until: d.To, First: len(mild), Last: len(mild) + 1})
			mild = append(mild, d)
		}
	}
	var found []Finding
	for _, e := range bridge(episodes, defrostGap, c.dataUntil()) {
		if e.Last-e.First < defrostCount {
			continue
		}
		var outdoorC []float64
		for _, d := range mild[e.First:e.Last] {
			outdoorC = append(outdoorC, *d.OutdoorC)
		}
		found = append(found, Finding{
			Kind: "defrost_mild", Severity: Attention, Since: e.Since, Until: e.Until,
			Title:    fmt.Sprintf("%d defrosts at %.0f °C outdoors, where no frost forms", e.Last-e.First, median(outdoorC)),
			Evidence: []Figure{{"defrosts", float64(e.Last - e.First), "", 0}, {"outdoor_c", median(outdoorC), "°C", 0}},
			Causes:   []string{"defrosts by the clock, needed or not", "a sensor on the coil that reads too cold", "lost refrigerant, which makes the coil colder", "an outdoor sensor that reads too warm"},
			Next:     []string{"look at the coil before a defrost: is there any frost?", "read the defrost settings", "hold the outdoor sensor and the coil's against a thermometer"},
			Caution:  defrostCaution,
		})
	}
	return found
}

package watch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"unicode"
	"unicode/utf8"

	"coldweek/analysis/operation"
	"coldweek/analysis/siteday"
)

const (
	// roomShortK below its set temperature a room is cold, roomBackK below it it
	// is not: thermostats and room sensors are no better (common practice, no source).
	roomShortK, roomBackK = 1.25, 0.75
	// roomOpenS of any time are longer than a set-back at night and the heating up
	// after it, roomHeatedOpenS of time in which the plant heats longer than the
	// latter.
	roomOpenS, roomHeatedOpenS = 14 * 3600, 6 * 3600
	roomCloseS                 = 6 * 3600
	// warmingK in warmingSlots, a room is on its way.
	warmingK, warmingSlots = 0.3, 36
	// designSlots below the design's outdoor temperature are colder than designed for.
	designSlots = 72
	// heatedC outdoors houses need no heating.
	heatedC = 15
	// mostlyHeating is a slot's share of heating that makes it one of heating.
	mostlyHeating = 0.8
)

// roomsCold tells of rooms that stay below what was promised: all of them
// together, or single ones.
func roomsCold(c *Case) []Finding {
	places := c.promised()
	if len(places) == 0 {
		return nil
	}
	var house []Finding
	if len(places) > 1 {
		house = c.coldEpisodes("room_cold", places, func(i int) Sign { return c.houseSign(i, places) })
	}
	found := slices.Clone(house)
	for _, place := range places {
		kind := "room_cold"
		if place != "" {
			kind += "/" + place
		}
		found = append(found, outside(house, c.coldEpisodes(kind, []string{place}, func(i int) Sign {
			sign := c.roomSign(i, place)
			if sign == Bad && len(places) > 1 && c.houseSign(i, places) == Bad {
				return Unclear // the house is cold, not the room
			}
			return sign
		}))...)
	}
	return found
}

// outside leaves of findings the times before and after those of the house.
func outside(house, found []Finding) []Finding {
	for _, h := range house {
		var rest []Finding
		for _, f := range found {
			before, after := f, f
			if before.end().After(h.Since) {
				before.Until = h.Since
			}
			if before.Since.Before(before.end()) {
				rest = append(rest, before)
			}
			after.Since = siteday.Later(f.Since, h.Until)
			if h.Ended() && after.Since.Before(f.end()) && !before.end().Equal(f.end()) {
				rest = append(rest, after)
			}
		}
		found = rest
	}
	return found
}

// promised are the places that were measured and have a set temperature, in order.
func (c *Case) promised() []string {
	seen := map[string]bool{}
	for i := range c.Slots {
		for place, m := range c.Slots[i].Rooms {
			if m.S > 0 && c.Limits.roomSet(place) != nil {
				seen[place] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

// roomSet is what was promised for a place; a sensor without a place stands for the
// house.
func (l *Limits) roomSet(place string) *float64 {
	if setC, ok := l.RoomSetC[place]; ok {
		return &setC
	}
	if place == "" {
		return l.DesignRoomC
	}
	return nil
}

// shortK is by how much a room is below its set temperature.
func (c *Case) shortK(i int, place string) (float64, bool) {
	m, ok := c.Slots[i].Rooms[place]
	roomC, known := m.Of()
	if !ok || !known {
		return 0, false
	}
	return *c.Limits.roomSet(place) - roomC, true
}

// roomSign says whether a room is cold in slot i. One that is getting warmer is on
// its way: after a set-back, or in the first days of a house.
func (c *Case) roomSign(i int, place string) Sign {
	shortK, known := c.shortK(i, place)
	outdoorC, weather := c.Slots[i].Outdoor.Of()
	switch {
	case !known:
		return Unclear
	case shortK < roomBackK:
		return Clear
	case shortK < roomShortK, !weather || outdoorC >= heatedC:
		return Unclear
	}
	if i >= warmingSlots {
		if beforeK, ok := c.shortK(i-warmingSlots, place); ok && beforeK-shortK >= warmingK {
			return Unclear
		}
	}
	return Bad
}

// houseSign is Bad where all rooms that are known are below what was promised, and
// at least one is cold.
func (c *Case) houseSign(i int, places []string) Sign {
	known, cold := 0, 0
	for _, place := range places {
		shortK, ok := c.shortK(i, place)
		switch {
		case !ok:
			continue
		case shortK < roomBackK:
			return Clear
		}
		known++
		if c.roomSign(i, place) == Bad {
			cold++
		}
	}
	if known > 1 && cold > 0 {
		return Bad
	}
	return Unclear
}

// coldEpisodes finds the times in which rooms were cold for long, or for long while
// the plant heated.
func (c *Case) coldEpisodes(kind string, places []string, sign func(i int) Sign) []Finding {
	any, heated := make([]Piece, len(c.Slots)), make([]Piece, len(c.Slots))
	for i := range c.Slots {
		s := &c.Slots[i]
		any[i] = Piece{From: s.From, To: s.To(), S: SlotLength.Seconds(), Sign: sign(i)}
		heated[i] = any[i]
		if s.SecondsS[operation.Heating]+s.SecondsS[operation.Defrost] < mostlyHeating*SlotLength.Seconds() {
			heated[i].Sign = Unclear
		}
	}
	var all []levelled
	for _, e := range (Hold{roomOpenS, roomCloseS}).Episodes(any) {
		all = append(all, levelled{e, Attention})
	}
	for _, e := range (Hold{roomHeatedOpenS, roomCloseS / 2}).Episodes(heated) {
		all = append(all, levelled{e, Attention})
	}
	var found []Finding
	for _, e := range together(all) {
		found = append(found, c.coldFinding(kind, places, e))
	}
	return found
}

// coldTime is what the plant did while rooms were cold.
type coldTime struct {
	coldest          string
	shortK, roomC    float64 // of the coldest, mean
	outdoor          siteday.Mean
	knownS, heatingS float64
	shortOfTargetS   float64
	targetS          float64
}

func (c *Case) coldTimeOf(places []string, e levelled) coldTime {
	t := coldTime{shortK: math.Inf(-1)}
	for _, place := range places {
		var room siteday.Mean
		for i := e.First; i < e.Last; i++ {
			if shortK, ok := c.shortK(i, place); ok && shortK >= roomBackK {
				room = room.Plus(c.Slots[i].Rooms[place])
			}
		}
		roomC, ok := room.Of()
		if !ok {
			continue
		}
		if shortK := *c.Limits.roomSet(place) - roomC; shortK > t.shortK {
			t.coldest, t.shortK, t.roomC = place, shortK, roomC
		}
	}
	for i := e.First; i < e.Last; i++ {
		s := &c.Slots[i]
		t.outdoor = t.outdoor.Plus(s.Outdoor)
		t.knownS += s.KnownS()
		t.heatingS += s.SecondsS[operation.Heating] + s.SecondsS[operation.Defrost]
		if shortK, ok := belowTarget(s); ok {
			t.targetS += s.Settled.Target.S
			if shortK >= targetShortK {
				t.shortOfTargetS += s.Settled.Target.S
			}
		}
	}
	return t
}

func (c *Case) coldFinding(kind string, places []string, e levelled) Finding {
	t := c.coldTimeOf(places, e)
	f := Finding{
		Kind: kind, Severity: e.severity, Since: e.Since, Until: e.Until,
		Title:    fmt.Sprintf("%s is %.1f K below its %.1f °C", roomName(t.coldest), t.shortK, t.roomC+t.shortK),
		Evidence: []Figure{{"short_k", t.shortK, "K", 1}, {"room_c", t.roomC, "°C", 1}, {"set_c", t.roomC + t.shortK, "°C", 1}},
	}
	if len(places) > 1 {
		f.Title = fmt.Sprintf("All rooms are below what was promised, %s by %.1f K", t.coldest, t.shortK)
	}
	if outdoorC, ok := t.outdoor.Of(); ok {
		f.Evidence = append(f.Evidence, Figure{"outdoor_c", outdoorC, "°C", 1})
	}
	if t.knownS > 0 {
		f.Evidence = append(f.Evidence, Figure{"heating_share_pct", 100 * t.heatingS / t.knownS, "%", 0})
	}
	f.Causes, f.Next = t.explain(len(places) > 1)
	if designC := c.Limits.DesignOutdoorC; designC != nil && c.coldestBefore(e) < *designC {
		f.Severity = Info
		f.Causes = append([]string{fmt.Sprintf("it was colder than the %.0f °C the plant was designed for", *designC)}, f.Causes...)
	}
	return f
}

// coldestBefore is the lowest mean outdoor temperature over designSlots of a cold
// time and the day before, which a house remembers.
func (c *Case) coldestBefore(e levelled) float64 {
	coldestC := math.Inf(1)
	for i := max(0, e.First-int(day/SlotLength)); i+designSlots <= e.Last; i++ {
		var outdoor siteday.Mean
		for k := i; k < i+designSlots; k++ {
			outdoor = outdoor.Plus(c.Slots[k].Outdoor)
		}
		if outdoorC, ok := outdoor.Of(); ok {
			coldestC = min(coldestC, outdoorC)
		}
	}
	return coldestC
}

func roomName(place string) string {
	if place == "" {
		return "The room"
	}
	first, size := utf8.DecodeRuneInString(place)
	return string(unicode.ToUpper(first)) + place[size:]
}

// mostOf the time is what counts for what the plant did.
const mostOf = 0.6

// explain puts the causes of a cold room in order, by what the plant did.
func (t *coldTime) explain(house bool) (causes, next []string) {
	lowCurve, lowOutput := "the heating curve is too low for this weather", "the machine gives less heat than the house loses"
	atRest := "the plant rests although the rooms are cold: a timer, a thermostat or a heating limit"
	starved := "the room gets too little water: a closed valve, air, or circuits out of balance"
	small := "its radiators or floor are too small for the flow temperature"
	switch {
	case t.knownS > 0 && t.heatingS < (1-mostOf)*t.knownS:
		causes = []string{atRest, lowCurve}
		next = []string{"read the controller's timer, thermostat and heating limit", "compare the set curve with the record's"}
	case t.targetS > 0 && t.shortOfTargetS > mostOf*t.targetS:
		causes = []string{lowOutput, lowCurve}
		next = []string{"see why the flow stays below its target: output, flow rate, defrosts, backup heater", "only then look at the curve"}
	default:
		causes = []string{lowCurve, lowOutput}
		next = []string{"compare the set curve with the record's; raise it in steps of 2 K", "see whether the machine holds its flow target"}
	}
	if house {
		return append(causes, "windows or doors stand open"), append(next, "ask whether the set temperatures were changed on purpose, as for a holiday")
	}
	causes = append([]string{starved, small}, causes...)
	next = append([]string{"open the room's valves fully and bleed its radiators", "feel whether flow and return there are as warm as in other rooms"}, next...)
	return append(causes, "a window stands open, or the sensor is in a draught"), append(next, "ask whether the room is kept cold on purpose")
}

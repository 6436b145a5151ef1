package watch

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"coldweek/analysis/siteday"
	"coldweek/ingest"
)

const (
	// siteSilence is how long a whole site is silent before it is told: a router
	// restarts in minutes (common practice, no source).
	siteSilence = time.Hour
	// vitalSilence of what heat and efficiency are made of, otherSilence of the
	// rest.
	vitalSilence, otherSilence = 2 * time.Hour, 6 * time.Hour
	// A channel that is silent so often in a few days is published on change.
	oftenSilent, onChangeSilence = 6, day
	// habitual times a silence in so many is a habit, twice as long is not.
	habitual, unlikeHabit = 3, 2
	// breath: silences that readings of so little time part are one.
	breath = 10 * time.Minute
)

// silent tells of a site without readings, and of channels that fell silent while
// the others went on.
func silent(c *Case) []Finding {
	all := c.gaps()
	siteGaps := c.siteGaps(all)
	var found []Finding
	limit := limitOf(max(siteSilence, 2*c.shortestMaxGap()), siteGaps)
	for _, g := range joinGaps(siteGaps, limit) {
		if g.To.Sub(g.From) >= limit {
			found = append(found, siteSilent(c, g))
		}
	}
	return append(found, channelsSilent(c, all, siteGaps)...)
}

// shortestMaxGap is that of the record where every channel has one: a site that
// publishes on change alone.
func (c *Case) shortestMaxGap() time.Duration {
	shortest := time.Duration(0)
	for ch := range c.Began {
		gap, ok := c.Limits.MaxGap[ch]
		if !ok {
			return 0
		}
		if shortest == 0 || gap < shortest {
			shortest = gap
		}
	}
	return shortest
}

// limitOf is how long a silence is unlike others: limits go in steps so that one
// silence more or less does not move them.
func limitOf(least time.Duration, gaps []siteday.Gap) time.Duration {
	var lengths []time.Duration
	for _, g := range gaps {
		lengths = append(lengths, g.To.Sub(g.From))
	}
	slices.Sort(lengths)
	if len(lengths) > oftenSilent {
		least = max(least, onChangeSilence)
	}
	if len(lengths) < habitual {
		return least
	}
	habit := unlikeHabit * lengths[len(lengths)-habitual]
	for least < habit {
		least *= 2
	}
	return least
}

// joinGaps joins silences of at least a length that only a breath parts.
func joinGaps(gaps []siteday.Gap, least time.Duration) []siteday.Gap {
	var joined []siteday.Gap
	for _, g := range gaps {
		k := len(joined) - 1
		if k >= 0 && g.From.Sub(joined[k].To) < breath && min(g.To.Sub(g.From), joined[k].To.Sub(joined[k].From)) >= least {
			joined[k].To = g.To
			continue
		}
		joined = append(joined, g)
	}
	return joined
}

// endOf a silence, none if it lasts.
func (c *Case) endOf(g siteday.Gap) time.Time {
	if g.To.Equal(c.publishersNow()) {
		return time.Time{}
	}
	return g.To
}

func siteSilent(c *Case, g siteday.Gap) Finding {
	lasted := g.To.Sub(g.From)
	f := Finding{
		Kind: "silent", Severity: Attention, Since: g.From, Until: c.endOf(g),
		Title:    fmt.Sprintf("No readings for %s", spell(lasted)),
		Evidence: []Figure{{"silent_h", lasted.Hours(), "h", 1}},
		Causes: []string{
			"the internet connection of the house, or its router", "the gateway lost its power or hangs", "a power cut",
			"the login at the broker was changed", "a clock that runs ahead: readings from the future are refused",
		},
		Next: []string{
			"see whether messages of this site are refused",
			"ask at the house whether the power and the internet are on",
			"restart the gateway, and see that it logs in at the broker",
		},
	}
	if g.From.Before(siteday.Earlier(c.DaysFrom(), c.SlotsFrom())) {
		f.Severity = Info
	}
	if outdoorC, ok := c.outdoorBefore(g.From); ok && outdoorC < frostBelowC {
		f.Evidence = append(f.Evidence, Figure{"outdoor_c", outdoorC, "°C", 1})
		f.Caution = "It was near freezing when the readings stopped, and nobody sees now whether the plant runs: if the power is off, pipes filled with water can freeze."
	}
	return f
}

// outdoorBefore is the last outdoor temperature that was known by a time.
func (c *Case) outdoorBefore(at time.Time) (outdoorC float64, ok bool) {
	for i := len(c.Slots) - 1; i >= 0; i-- {
		if s := &c.Slots[i]; s.Outdoor.S > 0 && !s.From.After(at) {
			return s.Outdoor.Of()
		}
	}
	return 0, false
}

// vital are the quantities that heat, efficiency and states are made of.
var vital = []ingest.Quantity{ingest.FlowTemp, ingest.ReturnTemp, ingest.FlowRate, ingest.Power, ingest.HeatOutput}

// lost is a channel that fell silent.
type lost struct {
	ingest.Channel
	siteday.Gap
	limit time.Duration
}

// channelsSilent tells of channels that were silent for long, apart from the
// silences of the whole site. Those that fell silent together have one cause and
// are one finding.
func channelsSilent(c *Case, all map[ingest.Channel][]siteday.Gap, siteGaps []siteday.Gap) []Finding {
	var silences []lost
	for _, ch := range slices.Sorted(maps.Keys(all)) {
		if newest := c.Newest[ch]; newest.Before(siteday.Earlier(c.DaysFrom(), c.SlotsFrom())) {
			continue // taken out of the house
		}
		limit := c.channelLimit(ch, all[ch], siteGaps)
		for _, g := range joinGaps(all[ch], limit) {
			if apart(g, siteGaps) >= leastGap {
				silences = append(silences, lost{ch, g, limit})
			}
		}
	}
	var found []Finding
	for _, group := range fellTogether(silences) {
		if first := group[0]; apart(first.Gap, siteGaps) >= first.limit {
			found = append(found, channelSilent(c, group))
		}
	}
	return found
}

// channelLimit is how long a channel may be silent. Its habit is not what it shares
// with the whole site.
func (c *Case) channelLimit(ch ingest.Channel, gaps, siteGaps []siteday.Gap) time.Duration {
	own := slices.DeleteFunc(slices.Clone(gaps), func(g siteday.Gap) bool { return apart(g, siteGaps) < leastGap })
	least := otherSilence
	if slices.Contains(vital, ch.Quantity()) {
		least = vitalSilence
	}
	return max(limitOf(least, own), 2*c.Limits.MaxGap[ch])
}

// apart is the length of a silence without what the whole site shared.
func apart(g siteday.Gap, siteGaps []siteday.Gap) time.Duration {
	rest := g.To.Sub(g.From)
	for _, s := range shared([]siteday.Gap{g}, siteGaps) {
		rest -= s.To.Sub(s.From)
	}
	return rest
}

// fellTogether groups silences that began within a breath. The first of a group
// is the one that is told soonest.
func fellTogether(silences []lost) [][]lost {
	slices.SortStableFunc(silences, func(a, b lost) int { return a.From.Compare(b.From) })
	var groups [][]lost
	for _, s := range silences {
		k := len(groups) - 1
		if k >= 0 && s.From.Sub(groups[k][0].From) < breath {
			groups[k] = append(groups[k], s)
			continue
		}
		groups = append(groups, []lost{s})
	}
	for _, g := range groups {
		slices.SortFunc(g, func(a, b lost) int {
			return cmp.Or(cmp.Compare(a.below(), b.below()), cmp.Compare(a.limit, b.limit), cmp.Compare(a.Channel, b.Channel))
		})
	}
	return groups
}

func (l lost) length() time.Duration { return l.To.Sub(l.From) }

// below is how much a silence is shorter than its limit.
func (l lost) below() time.Duration { return max(0, l.limit-l.length()) }

func channelSilent(c *Case, group []lost) Finding {
	first := group[0]
	f := Finding{
		Kind: "silent/" + string(first.Channel), Severity: Info, Since: first.From, Until: c.endOf(first.Gap),
		Evidence: []Figure{{"silent_h", first.length().Hours(), "h", 1}},
		Causes:   []string{"the sensor, or its cable or battery", "the publisher no longer sends it, after an update perhaps", "its topic was renamed"},
		Next: []string{
			"look whether it arrives under another topic or is refused",
			"look at the sensor, its battery and its cable",
		},
	}
	if slices.Contains(vital, first.Quantity()) {
		f.Severity = Attention
	}
	var names []string
	for _, l := range group {
		names = append(names, string(l.Channel))
	}
	slices.Sort(names)
	f.Title = fmt.Sprintf("No readings of %s for %s, the others go on", strings.Join(names, ", "), spell(first.length()))
	if f.Severity == Attention {
		f.Title += "; heat and efficiency are not known meanwhile"
	}
	if len(group) == 1 {
		return f
	}
	f.Evidence = append(f.Evidence, Figure{Name: "channels", Value: float64(len(group))})
	f.Causes = append([]string{"the meter or gateway that sends them, as they stopped together"}, f.Causes...)
	return f
}

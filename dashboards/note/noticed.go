package note

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"coldweek/analysis/watch"
	"coldweek/dashboards/note/words"
)

// mostItems are described; of the rest it is said how many there are.
const mostItems = 5

// item is what was noticed of one kind: all its findings together.
type item struct {
	name     string // kind without place
	severity watch.Severity
	places   []string
	findings []watch.Finding
}

// items are the homeowner's, the severe ones first; what the engineer muted is the
// engineer's alone.
func (c *composer) items() []*item {
	var all []*item
	for _, n := range c.Findings {
		if n.Muted {
			continue
		}
		f := n.Finding
		k := slices.IndexFunc(all, func(i *item) bool { return i.name == f.Name() })
		if k < 0 {
			all, k = append(all, &item{name: f.Name(), severity: f.Severity}), len(all)
		}
		i := all[k]
		i.findings = append(i.findings, f)
		if f.Severity.AtLeast(i.severity) {
			i.severity = f.Severity
		}
		if _, place, has := strings.Cut(f.Kind, "/"); has && !slices.Contains(i.places, place) {
			i.places = append(i.places, place)
		}
	}
	slices.SortStableFunc(all, func(a, b *item) int {
		return cmp.Or(b2i(b.severity.AtLeast(a.severity))-b2i(a.severity.AtLeast(b.severity)), a.findings[0].Since.Compare(b.findings[0].Since))
	})
	return all
}

// noticed says what was noticed and what happens next.
func (c *composer) noticed() {
	p := Part{ID: "noticed", Heading: c.say("noticed_heading", nil)}
	items := c.items()
	for _, i := range items[:min(len(items), mostItems)] {
		p.Blocks = append(p.Blocks, Block{Item: c.item(i)})
	}
	switch {
	case len(items) > mostItems:
		more := words.Source{Op: words.Less, Paths: []string{"noticed", "noticed_shown"}, Factor: 1}
		p.Blocks = append(p.Blocks, paragraph(c.l.SayCount("noticed_more", float64(len(items)-mostItems), more, nil)))
	case len(items) > 0:
	case !told(c.This):
		p.Blocks = append(p.Blocks, paragraph(c.say("noticed_unknown", nil)))
	case !c.Watched:
		p.Blocks = append(p.Blocks, paragraph(c.say("noticed_not_looked", nil)))
	case part(c.This):
		p.Blocks = append(p.Blocks, paragraph(c.say("noticed_none_part", nil)))
	default:
		p.Blocks = append(p.Blocks, paragraph(c.say("noticed_none", nil)))
	}
	c.add(p)
}

func (c *composer) item(i *item) *Item {
	name, args := i.name, words.Args(nil)
	if name == "room_cold" && len(i.places) > 0 {
		var places []words.Text
		for _, p := range i.places {
			places = append(places, called(c.l.Noun(p)))
		}
		name, args = "room_cold_place", words.Args{"places": c.l.List(places)}
	}
	title, means, next := c.l.Finding(name, args)
	told := &Item{Urgent: i.severity == watch.Urgent, Title: title, Period: c.period(i), Lines: []words.Text{means, c.say("what_next", words.Args{"next": next})}}
	if told.Urgent {
		told.Lines = append(told.Lines, c.say("urgent_call", nil))
	}
	return told
}

// period says when it was, in days.
func (c *composer) period(i *item) words.Text {
	first, last, over := i.findings[0].Since, time.Time{}, true
	for _, f := range i.findings {
		if f.Since.Before(first) {
			first = f.Since
		}
		over = over && f.Ended() && !f.Until.After(c.Written)
		if f.Until.After(last) {
			last = f.Until
		}
	}
	zone := c.Record.Zone()
	first, last = first.In(zone), last.In(zone)
	args := words.Args{"from": c.l.ShortDay(first), "to": c.l.ShortDay(last)}
	key := "period_since"
	switch several := len(i.findings) > 1 && len(i.places) < len(i.findings); {
	case several && over:
		key = "period_several"
	case several:
		key = "period_several_open"
	case over && first.Format(time.DateOnly) == last.Format(time.DateOnly):
		key = "period_day"
	case over:
		key = "period_over"
	}
	return c.say(key, args)
}

// advised are the kinds of findings with something the homeowner can do, the
// weightiest first; a name ending in _ stands for all that begin so.
var advised = []struct{ kind, key string }{
	{"frost_danger", "advice_frost"}, {"hot_water_hygiene", "advice_hot_water"}, {"hot_water_short", "advice_hot_water"},
	{"room_cold", "advice_room"}, {"defrost_", "advice_clear"}, {"low_flow", "advice_valves"}, {"flow_", "advice_valves"},
	{"short_cycling", "advice_valves"}, {"silent", "advice_internet"},
}

// mildC is from which outdoor temperature on a month is not the time for ice.
const mildC = 5

// advice is one thing the homeowner can do.
func (c *composer) advice() {
	c.add(Part{ID: "advice", Look: Framed, Heading: c.say("advice_heading", nil), Blocks: []Block{paragraph(c.say(c.adviceKey(), nil))}})
}

func (c *composer) adviceKey() string {
	items := c.items()
	for _, a := range advised {
		for _, i := range items {
			if i.name == a.kind || strings.HasSuffix(a.kind, "_") && strings.HasPrefix(i.name, a.kind) {
				return a.key
			}
		}
	}
	if !told(c.This) || part(c.This) {
		return "advice_internet"
	}
	if !c.priced() {
		return "advice_tariff"
	}
	switch day := c.coldestDay(); {
	case *c.This.Heat.SpaceKWh < 0.1**c.This.Heat.NetKWh:
		return "advice_summer"
	case day >= 0 && *c.This.Days[day].OutdoorC < mildC:
		return "advice_clear"
	}
	return "advice_steady"
}

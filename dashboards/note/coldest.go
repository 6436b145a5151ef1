package note

import (
	"math"
	"strconv"
	"strings"

	"coldweek/analysis/comfort"
	"coldweek/dashboards/note/picture"
	"coldweek/dashboards/note/words"
)

// coldest says which day was the coldest, how the rooms held and how often the
// outdoor unit was defrosted.
func (c *composer) coldest() {
	p := Part{ID: "cold", Heading: c.say("cold_heading", nil)}
	day := c.coldestDay()
	if day < 0 {
		p.Blocks = append(p.Blocks, paragraph(c.say("cold_unknown", nil), c.defrosts()))
	} else {
		p.Blocks = append(p.Blocks, paragraph(c.thatDay(day), c.roomsHeld(), c.defrosts()), Block{Chart: c.temperatureChart(day)})
	}
	c.add(p)
}

// coldestDay is -1 where none is known; days with readings of half their time
// count.
func (c *composer) coldestDay() int {
	day := -1
	for i, d := range c.This.Days {
		if d.OutdoorC != nil && d.Coverage >= 0.5 && (day < 0 || *d.OutdoorC < *c.This.Days[day].OutdoorC) {
			day = i
		}
	}
	return day
}

func (c *composer) thatDay(day int) words.Text {
	d := c.This.Days[day]
	args := words.Args{"date": c.l.Weekday(dateOf(d)), "outdoor": c.celsius(*d.OutdoorC, from(dayPath(day, "outdoor_c")))}
	if d.RoomC == nil {
		return c.say("cold_day", args)
	}
	args["room"] = c.celsius(*d.RoomC, from(dayPath(day, "room_c")))
	return c.say("cold_day_rooms", args)
}

// coldRooms are the indexes of rooms that did not hold; known says whether any
// has a temperature agreed.
func (c *composer) coldRooms() (cold []int, known bool) {
	for i, room := range c.This.Rooms.Rooms {
		held, set := room.Held()
		known = known || set
		if set && !held && *room.HoursBelowSet >= 1 {
			cold = append(cold, i)
		}
	}
	return cold, known
}

func (c *composer) roomsHeld() words.Text {
	cold, known := c.coldRooms()
	switch {
	case len(c.This.Rooms.Rooms) == 0:
		return c.say("cold_no_rooms", nil)
	case !known:
		return c.say("cold_not_agreed", nil)
	case len(cold) == 0:
		return c.say("cold_held", nil)
	}
	var rooms []words.Text
	for _, i := range cold {
		rooms = append(rooms, c.coldRoom(i, c.This.Rooms.Rooms[i]))
	}
	return c.say("cold_below", words.Args{"rooms": c.l.List(rooms)})
}

func (c *composer) coldRoom(i int, room comfort.Room) words.Text {
	hours := c.l.SayCount("hours", *room.HoursBelowSet, from("this.comfort.rooms."+strconv.Itoa(i)+".hours_below_set"), nil)
	if room.Place == "" {
		return c.say("cold_room_house", words.Args{"hours": hours})
	}
	return c.say("cold_room", words.Args{"place": called(c.l.Noun(room.Place)), "hours": hours})
}

// defrosts is one sentence.
func (c *composer) defrosts() words.Text {
	d := c.This.Defrost
	switch {
	case d.Count == nil || !told(c.This):
		return c.say("defrost_unknown", nil)
	case *d.Count == 0 || d.MedianMinutes == nil || d.ShareOfElectricity == nil:
		return c.say("defrost_none", nil)
	}
	key := "defrost_some"
	for _, item := range c.items() {
		if strings.HasPrefix(item.name, "defrost_") {
			key = "defrost_some_watched"
		}
	}
	pct := 100 * *d.ShareOfElectricity
	return c.say(key, words.Args{
		"times":   c.l.SayCount("times", float64(*d.Count), from("this.defrost.count"), nil),
		"minutes": c.l.SayCount("minutes", *d.MedianMinutes, from("this.defrost.median_minutes"), nil),
		"percent": c.l.Percent(pct, decimalsOf(pct, 2), scaled("this.defrost.share_of_electricity", 100)),
	})
}

func (c *composer) temperatureChart(coldest int) *Chart {
	t := picture.Temperature{
		Coldest: coldest, Outdoor: c.say("chart_outdoor", nil).String(), Room: c.say("chart_room", nil).String(),
		ColdestWord: c.say("chart_coldest", nil).String(), Unit: c.say("chart_temperatures_axis", nil).String(), Format: c.format, Size: chartSize,
	}
	warmest := coldest
	for i, d := range c.This.Days {
		outdoorC := math.NaN()
		if d.Coverage >= 0.5 {
			outdoorC = orNaN(d.OutdoorC)
		}
		if outdoorC > *c.This.Days[warmest].OutdoorC {
			warmest = i
		}
		t.OutdoorC, t.RoomC = append(t.OutdoorC, outdoorC), append(t.RoomC, orNaN(d.RoomC))
	}
	said := c.say("chart_temperatures_words", words.Args{
		"low":  c.celsius(*c.This.Days[coldest].OutdoorC, from(dayPath(coldest, "outdoor_c"))),
		"high": c.celsius(*c.This.Days[warmest].OutdoorC, from(dayPath(warmest, "outdoor_c"))),
	})
	return &Chart{ID: "temperatures", Title: c.say("chart_temperatures", nil), Words: said, Picture: t}
}

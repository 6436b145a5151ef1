// Package comfort says how the rooms held: each by its own sensor, and all
// together in the coldest hours.
//
// A room counts as below its set temperature when it is more than AllowanceK
// below: a thermostat swings about its set point, and room sensors are no better
// (common practice, no source). A room whose set temperature nobody wrote down
// has no hours below it.
package comfort

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"coldweek/analysis/siteday"
)

const (
	// AllowanceK is how far below its set temperature a room may be.
	AllowanceK = 0.5
	// coldestHours are looked at for how the rooms held when it mattered: a day.
	coldestHours = 24
	// heldShare of the time a room may be below and still have held (common
	// practice, no source).
	heldShare = 0.02

	secondsPerHour = 3600
)

// Report is how the rooms held over a span. Nil is not known.
type Report struct {
	Rooms   []Room   // by place
	Coldest *Coldest // nil without outdoor and room temperatures together
}

// Room is one room.
type Room struct {
	Place         string // empty for a sensor without a place
	MeanC, P5C    float64
	KnownHours    float64
	SetC          *float64
	HoursBelowSet *float64 // by more than AllowanceK
}

// Held says whether the room was hardly ever below its set temperature, false as
// its second result when that is not known.
func (r Room) Held() (held, known bool) {
	if r.HoursBelowSet == nil {
		return false, false
	}
	return *r.HoursBelowSet <= heldShare*r.KnownHours, true
}

// Coldest is the coldest hours of a span in which the rooms are known.
type Coldest struct {
	Hours         int
	OutdoorC      float64 // mean
	LowestC       float64 // outdoors, of the hours
	RoomC         float64 // mean of all rooms
	LowestRoomC   float64 // of the hours, mean of all rooms
	OtherwiseC    float64 // mean of all rooms in the other hours; NaN of none
	SpaceHeatW    float64
	RunShare      float64 // of the time the compressor ran
	HotWaterShare float64 // of the time it charged the cylinder
}

// Of looks at the sums of a span; set tells a place's set temperature or nil.
func Of(s *siteday.Sums, set func(place string) *float64) Report {
	r := Report{Coldest: coldest(s.Hours)}
	for _, place := range slices.Sorted(maps.Keys(s.RoomTemps)) {
		h := s.RoomTemps[place]
		meanC, known := s.Rooms[place].Of()
		p5C, some := h.Quantile(0.05)
		if !known || !some {
			continue
		}
		room := Room{Place: place, MeanC: meanC, P5C: p5C, KnownHours: h.Total() / secondsPerHour, SetC: set(place)}
		if room.SetC != nil {
			room.HoursBelowSet = new(below(h, *room.SetC-AllowanceK) / secondsPerHour)
		}
		r.Rooms = append(r.Rooms, room)
	}
	return r
}

// below is the weight below a value, that of its own bin taken as even.
func below(h siteday.Histogram, value float64) float64 {
	at := value / h.Width
	if whole := math.Round(at); math.Abs(at-whole) < 1e-6 {
		at = whole // 20.0 by 0.1 need not be 200 exactly
	}
	weight := 0.0
	for _, bin := range slices.Sorted(maps.Keys(h.Weight)) {
		weight += h.Weight[bin] * min(max(at-float64(bin), 0), 1)
	}
	return weight
}

func coldest(hours []siteday.Hour) *Coldest {
	var known []*siteday.Hour
	for i := range hours {
		if hours[i].Outdoor.S > 0 && hours[i].Room.S > 0 {
			known = append(known, &hours[i])
		}
	}
	if len(known) == 0 {
		return nil
	}
	slices.SortFunc(known, func(a, b *siteday.Hour) int {
		return cmp.Or(cmp.Compare(mean(a.Outdoor), mean(b.Outdoor)), a.From.Compare(b.From))
	})
	n := min(coldestHours, len(known))
	c := Coldest{Hours: n, LowestC: mean(known[0].Outdoor), LowestRoomC: math.Inf(1)}
	var outdoor, room, otherwise siteday.Mean
	var spaceJ, coveredS, runS, hotWaterS, lengthS float64
	for _, h := range known[:n] {
		outdoor, room = outdoor.Plus(h.Outdoor), room.Plus(h.Room)
		c.LowestRoomC = min(c.LowestRoomC, mean(h.Room))
		spaceJ, coveredS = spaceJ+h.SpaceJ, coveredS+h.CoveredS
		runS, hotWaterS, lengthS = runS+h.RunS, hotWaterS+h.HotWaterS, lengthS+h.S
	}
	for _, h := range known[n:] {
		otherwise = otherwise.Plus(h.Room)
	}
	c.OutdoorC, c.RoomC, c.OtherwiseC = mean(outdoor), mean(room), mean(otherwise)
	c.SpaceHeatW = spaceJ / coveredS
	c.RunShare, c.HotWaterShare = runS/lengthS, hotWaterS/lengthS
	return &c
}

// mean is NaN of none.
func mean(m siteday.Mean) float64 { return m.ValueS / m.S }

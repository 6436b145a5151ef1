package heatloss

import (
	"math"
	"slices"
	"time"

	"coldweek/analysis/operation"
	"coldweek/analysis/robust"
	"coldweek/analysis/siteday"
)

// Left says why a day is left out of the fit; empty of one that is in it.
type Left string

// Why days are left out.
const (
	LittleCovered  Left = "heat known for too little of the day"
	OutdoorUnknown Left = "outdoor temperature not known"
	RoomUnknown    Left = "room temperature not known"
	SetBack        Left = "rooms colder than usual: set back, or nobody at home"
	LessHeat       Left = "less heat than the weather asks for: nobody at home, set back, or off"
	MoreHeat       Left = "more heat than the weather asks for: warming up, windows open, or a doubtful reading"
)

// Point is one day. Heat is the mean over its covered time; nil is not known.
type Point struct {
	Date     string
	Coverage float64
	HeatW    float64
	OutdoorC *float64
	RoomC    *float64
	Left     Left
	// AsIfC is the outdoor temperature with which the day is fitted: with known
	// rooms, as if they had been at the design room temperature.
	AsIfC *float64

	sunWPerM2      *float64
	sunAboveWPerM2 float64  // by the date alone
	perPairWPerK   float64  // what each K that flow minus return reads high adds to HeatW
	changeK        *float64 // of the rooms, last hour less first
	yesterdayC     *float64
	day            int
}

// noonH is from the begin of a day, to be on the right date.
const noonH = 12 * time.Hour

// pointsOf reads days, in ascending order.
func pointsOf(days []siteday.Day, o *Options) []Point {
	places := steadyPlaces(days)
	points := make([]Point, len(days))
	for i := range days {
		d := &days[i]
		s := &d.Sums
		p := Point{Date: d.Date, day: int(math.Round(d.From.Sub(days[0].From).Hours() / 24)), OutdoorC: wholeMean(s.Outdoor, s.SpanS, o)}
		if s.SpanS > 0 {
			p.Coverage = s.CoveredS / s.SpanS
		}
		if s.CoveredS > 0 {
			p.HeatW = o.heatJ(s) / s.CoveredS
		}
		p.RoomC = roomOf(s, places, o)
		p.sunWPerM2, p.changeK = hoursOf(s, o)
		p.sunAboveWPerM2 = sunAboveWPerM2(anyLatitudeDeg, d.From.Add(noonH))
		if i > 0 && points[i-1].day == p.day-1 {
			p.yesterdayC = points[i-1].OutdoorC
		}
		p.perPairWPerK = perPairWPerK(s)
		switch {
		case p.Coverage < o.Rules.Coverage:
			p.Left = LittleCovered
		case p.OutdoorC == nil:
			p.Left = OutdoorUnknown
		}
		points[i] = p
	}
	return points
}

// heatJ is what went to the rooms: space heating, with what circulated while
// the compressor stood, less what defrosts drew from the rooms' circuit. Water
// that goes round after a stop carries the machine's last heat to the rooms, or
// takes some of theirs.
func (o *Options) heatJ(s *siteday.Sums) float64 {
	heatJ := s.HeatJ.Total() - s.HeatJ[operation.HotWater]
	for _, d := range s.Defrosts {
		if d.HotWater {
			heatJ += d.DrawnJ // it came from the cylinder's circuit
		}
	}
	if o.BackupUnseen {
		heatJ += s.BackupInJ[operation.Heating] + s.BackupInJ[operation.Defrost]
	}
	return heatJ
}

// perPairWPerK is the water that moves round the rooms, compressor on or off,
// with the flow rate that it has while the compressor runs.
func perPairWPerK(s *siteday.Sums) float64 {
	runS := s.RunS()
	if runS <= 0 || s.KnownS() <= 0 {
		return 0
	}
	movingS := runS - s.SecondsS[operation.HotWater] + s.SecondsS[operation.Circulating]
	return s.HeatDoubt.CapacityJPerK / runS * movingS / s.KnownS()
}

// wholeMean is a mean that stands for all of a day.
func wholeMean(m siteday.Mean, spanS float64, o *Options) *float64 {
	if v, ok := m.Of(); ok && m.S >= o.Rules.Coverage*spanS {
		return &v
	}
	return nil
}

// steadyPlaces are rooms that are known on nearly all days: the mean of others
// would jump as they come and go.
func steadyPlaces(days []siteday.Day) []string {
	const nearly = 0.9
	count, last := map[string]int{}, map[string]int{}
	for i := range days {
		for place, m := range days[i].Sums.Rooms {
			if m.S >= nearly*days[i].Sums.SpanS {
				count[place]++
				last[place] = i
			}
		}
	}
	var places []string
	for place, n := range count {
		if float64(n) >= nearly*float64(len(days)) {
			places = append(places, place)
		}
	}
	slices.Sort(places)
	return places
}

func roomOf(s *siteday.Sums, places []string, o *Options) *float64 {
	sum := 0.0
	for _, place := range places {
		v := wholeMean(s.Rooms[place], s.SpanS, o)
		if v == nil {
			return nil
		}
		sum += *v / float64(len(places))
	}
	if len(places) == 0 {
		return nil
	}
	return &sum
}

// hoursOf takes sun and change of the rooms from the hours.
func hoursOf(s *siteday.Sums, o *Options) (sunWPerM2, changeK *float64) {
	var sun siteday.Mean
	for _, h := range s.Hours {
		sun.ValueS, sun.S = sun.ValueS+h.Irradiance.ValueS, sun.S+h.Irradiance.S
	}
	if n := len(s.Hours); n > 1 {
		first, ok := s.Hours[0].Room.Of()
		last, ok2 := s.Hours[n-1].Room.Of()
		if change := last - first; ok && ok2 {
			changeK = &change
		}
	}
	return wholeMean(sun, s.SpanS, o), changeK
}

// countRooms decides whether rooms are counted: when they are known on nearly
// all usable days. It leaves out days with rooms unknown or set back, and says
// what the usual room temperature is.
func countRooms(points []Point, rules *Rules) (usualC float64, counted bool) {
	var rooms []float64
	usable := 0
	for _, p := range points {
		if p.Left == "" {
			usable++
			if p.RoomC != nil {
				rooms = append(rooms, *p.RoomC)
			}
		}
	}
	usualC, ok := robust.Median(rooms)
	if !ok || float64(len(rooms)) < nearlyAll*float64(usable) || slices.Min(rooms) == slices.Max(rooms) {
		return 0, false // a sensor that shows the same on all days is none
	}
	for i := range points {
		p := &points[i]
		switch {
		case p.Left != "":
		case p.RoomC == nil:
			p.Left = RoomUnknown
		case *p.RoomC < usualC-rules.SetBackK:
			p.Left = SetBack
		}
	}
	return usualC, true
}

// asIf puts the outdoor temperature on each point with which it is fitted.
func asIf(points []Point, roomC float64, counted bool) {
	for i := range points {
		p := &points[i]
		switch {
		case p.OutdoorC == nil || counted && p.RoomC == nil:
		case counted:
			p.AsIfC = new(*p.OutdoorC - *p.RoomC + roomC)
		default:
			p.AsIfC = new(*p.OutdoorC)
		}
	}
}

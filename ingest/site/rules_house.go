package site

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"coldweek/ingest"
)

func (d *decoder) checkPipework(r *Record) {
	if r.Pipework == nil {
		return
	}
	if len(r.Pipework.Legs) == 0 {
		d.report("pipework", "has no legs", "add one or leave the section out")
	}
	d.checkLegs(r, r.Pipework.Legs, "pipework.legs", map[string]bool{})
}

func (d *decoder) checkLegs(r *Record, legs []Leg, path string, names map[string]bool) {
	for i, leg := range legs {
		at := fmt.Sprintf("%s[%d]", path, i)
		if leg.Name != "" && names[leg.Name] {
			d.report(at+".name", "a second leg "+quote(leg.Name), "give each leg its own name")
		}
		names[leg.Name] = true
		d.checkWall(at, leg)
		d.checkServes(at, r, leg)
		d.checkLegs(r, leg.Legs, at+".legs", names)
	}
}

// checkWall refuses a pipe without a bore.
func (d *decoder) checkWall(path string, leg Leg) {
	outside, wall, found := strings.Cut(leg.Size, "x")
	outsideMM, err1 := strconv.ParseFloat(outside, 64)
	wallMM, err2 := strconv.ParseFloat(wall, 64)
	if found && err1 == nil && err2 == nil && (outsideMM <= 2*wallMM || wallMM == 0) {
		d.report(path+".size", quote(leg.Size)+" leaves no pipe: the wall is "+wall+" mm", "write outside diameter x wall, such as 28x0.9")
	}
}

// checkServes wants the end of every branch to serve something.
func (d *decoder) checkServes(path string, r *Record, leg Leg) {
	switch {
	case leg.ServesRoom != "" && r.Emitters != nil:
		places := r.Emitters.places()
		if !slices.Contains(places, leg.ServesRoom) {
			d.report(path+".serves_room", quote(leg.ServesRoom)+" is none of the rooms of emitters: "+some(places), wordFix(leg.ServesRoom, places))
		}
	case leg.ServesRoom == "" && leg.ServesKW == nil && len(leg.Legs) == 0:
		d.warn(path, "serves nothing", "add serves_kw:, serves_room: or legs:")
	}
}

func (e *Emitters) places() []string {
	var places []string
	for _, room := range e.Rooms {
		places = append(places, room.Place)
	}
	return places
}

func (d *decoder) checkRooms(r *Record) {
	if r.Emitters == nil {
		return
	}
	places := map[string]bool{}
	for i, room := range r.Emitters.Rooms {
		path := fmt.Sprintf("emitters.rooms[%d]", i)
		if room.Place == "" {
			continue
		}
		if _, err := ingest.ParseChannel(string(ingest.NewChannel(ingest.RoomTemp, room.Place))); err != nil {
			d.report(path+".place", quote(room.Place)+" is no place of a channel", "write "+cmp.Or(slug(room.Place, "_"), "kitchen"))
		}
		if places[room.Place] {
			d.report(path+".place", "a second room "+quote(room.Place), "give each room its own place")
		}
		places[room.Place] = true
		d.checkCircuit(path, r, room)
	}
	d.checkRoomSum(r)
}

// checkCircuit compares a room's circuit with the commissioned ones.
func (d *decoder) checkCircuit(path string, r *Record, room Room) {
	if room.Circuit == "" || r.Commissioned == nil || len(r.Commissioned.Circuits) == 0 {
		return
	}
	var names []string
	for _, c := range r.Commissioned.Circuits {
		names = append(names, c.Name)
	}
	if !slices.Contains(names, room.Circuit) {
		d.warn(path+".circuit", quote(room.Circuit)+" is none of the commissioned circuits: "+some(names), wordFix(room.Circuit, names))
	}
}

// The rooms' losses may add up to more than the house's, as heat between rooms
// counts for each (EN 12831-1), and to less where some rooms are not listed.
const leastRoomShare, mostRoomShare = 0.75, 1.5

func (d *decoder) checkRoomSum(r *Record) {
	houseKW, given := d.numbers["design.heat_loss_kw"]
	sumKW := 0.0
	for i := range r.Emitters.Rooms {
		lossW, ok := d.numbers[fmt.Sprintf("emitters.rooms[%d].design_loss_w", i)]
		given = given && ok
		sumKW += lossW / 1000
	}
	if given && len(r.Emitters.Rooms) > 1 && (sumKW < leastRoomShare*houseKW || sumKW > mostRoomShare*houseKW) {
		d.warn("emitters.rooms", fmt.Sprintf("the rooms lose %s kW together, design.heat_loss_kw is %s", formatNumber(sumKW), formatNumber(houseKW)),
			"check both, or list the rooms that are missing")
	}
}

func (d *decoder) checkTimes(r *Record) {
	if r.HotWater != nil {
		d.checkSpans(r.HotWater.Schedule, "hot_water.schedule")
	}
	if r.Tariff != nil {
		var spans []TimeSpan
		for _, rate := range r.Tariff.TimeOfUse {
			spans = append(spans, rate.TimeSpan)
		}
		d.checkSpans(spans, "tariff.time_of_use")
	}
}

// checkSpans refuses spans that are empty or overlap.
func (d *decoder) checkSpans(spans []TimeSpan, path string) {
	var covered [minutesPerDay]int // which span, counted from 1
	for i, s := range spans {
		at := fmt.Sprintf("%s[%d]", path, i)
		from, ok1 := minuteOf(s.From)
		to, ok2 := minuteOf(s.To)
		if !ok1 || !ok2 {
			continue
		}
		if from == to {
			d.report(at, "a span from "+s.From+" to "+s.To+" is empty", "leave it out")
		}
		for m := from; m != to; m = (m + 1) % minutesPerDay {
			if covered[m] > 0 {
				d.report(at, fmt.Sprintf("overlaps %s to %s", spans[covered[m]-1].From, spans[covered[m]-1].To), "let one end where the other begins")
				break
			}
			covered[m] = i + 1
		}
	}
}

const minutesPerDay = 24 * 60

func minuteOf(clock string) (minute int, ok bool) {
	t, err := time.Parse("15:04", clock)
	return t.Hour()*60 + t.Minute(), err == nil
}

func (d *decoder) checkVisits(r *Record) {
	for i, v := range r.Visits {
		path := fmt.Sprintf("visits[%d]", i)
		if _, err := time.Parse(time.RFC3339, v.Time); err != nil && v.Time != "" {
			d.report(path+".time", quote(v.Time)+" is no time with its offset from UTC", timeFix(v.Time, r.Zone()))
		}
		for j, reading := range v.Readings {
			d.checkSpot(fmt.Sprintf("%s.readings[%d]", path, j), reading)
		}
	}
}

func (d *decoder) checkSpot(path string, s SpotReading) {
	if s.Channel == "" || !d.have(path+".value") {
		return
	}
	unit := cmp.Or(s.Unit, s.Channel.Unit())
	if !unit.FitsIn(s.Channel.Unit()) {
		d.checkUnit(path+".unit", s.Unit, s.Channel)
		return
	}
	value, err := unit.Convert(s.Value, s.Channel.Quantity())
	if err == nil {
		err = s.Channel.Quantity().CheckValue(value)
	}
	if err != nil {
		d.report(path+".value", err.Error(), "")
	}
}

package site

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site/catalogue"
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
		d.checkSize(at, leg)
		d.checkFittings(at, leg)
		d.checkFlowSetter(at, leg)
		d.checkServes(at, r, leg)
		d.checkLegs(r, leg.Legs, at+".legs", names)
	}
}

// checkSize refuses a pipe without a bore and doubts one that is not made.
func (d *decoder) checkSize(path string, leg Leg) {
	if leg.Size == "" {
		return
	}
	outsideMM, _, ok := catalogue.ParseSize(leg.Size)
	if !ok {
		_, wall, _ := strings.Cut(leg.Size, "x")
		d.report(path+".size", quote(leg.Size)+" leaves no pipe: the wall is "+wall+" mm", "write outside diameter x wall, such as 28x0.9")
		return
	}
	if _, made := catalogue.Find(leg.Material, leg.Size); made || leg.Material == "" {
		return
	}
	var same []string
	for _, s := range catalogue.Sizes(leg.Material) {
		if s.OutsideMM == outsideMM {
			same = append(same, s.String())
		}
	}
	fix := "check the data sheet"
	if len(same) > 0 {
		fix = "usual are " + listed(same)
	}
	d.warn(path+".size", fmt.Sprintf("%s is no usual size of %s", leg.Size, leg.Material), fix)
}

// checkFittings wants one figure for each fitting, unless its name has one.
func (d *decoder) checkFittings(leg string, l Leg) {
	for i, f := range l.Fittings {
		path := fmt.Sprintf("%s.fittings[%d]", leg, i)
		zetaGiven, kvGiven := d.tried(path+".zeta"), d.tried(path+".kv_m3h")
		_, known := catalogue.Zeta(f.Name)
		switch {
		case zetaGiven && kvGiven:
			d.report(path, "zeta and kv_m3h are two figures for one loss", "keep one of them")
		case !zetaGiven && !kvGiven && !known && f.Name != "":
			var names []string
			for _, common := range catalogue.Fittings() {
				names = append(names, common.Name)
			}
			fix := "add zeta: or kv_m3h:"
			if meant := near(f.Name, names); meant != "" {
				fix = "did you mean " + quote(meant) + "? Otherwise " + fix
			}
			d.report(path, "no loss is given and "+quote(f.Name)+" is none of "+strings.Join(names, ", "), fix)
		}
	}
}

func (d *decoder) checkFlowSetter(path string, leg Leg) {
	set, isSet := d.numbers[path+".flow_setter.set_lph"]
	end, hasEnd := d.numbers[path+".flow_setter.maximum_lph"]
	if isSet && hasEnd && set > end {
		d.report(path+".flow_setter.set_lph", fmt.Sprintf("%s is beyond the end of the scale (%s)", formatNumber(set), formatNumber(end)), "check both")
	}
	if leg.FloorLoop && len(leg.Legs) > 0 {
		d.report(path+".floor_loop", "a loop ends where it began and has no legs below it", "make the loops legs of their own")
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

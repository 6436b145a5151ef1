package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// visitBody is the form for what was read with hand-held instruments on a visit,
// and the visits before.
type visitBody struct {
	Head   plantHead
	Form   form
	Closed bool // the records cannot be written from here
	Said   string

	By, At, Note string
	AtMistake    string
	Mistake      string // of the whole
	LitresMinute bool
	Groups       []spotGroup
	Free         []freeSpot
	Visits       []visitLine
}

// spotGroup are fields that belong together.
type spotGroup struct {
	Name  string
	Spots []spotField
}

// spotField is a field for one reading.
type spotField struct {
	Field, Name, Unit string
	Value, Mistake    string

	channel ingest.Channel
}

// freeSpot is a reading of a channel that the engineer names.
type freeSpot struct{ Index, Channel, Value, Mistake string }

// visitLine is a visit that was written down.
type visitLine struct {
	When, By, Note string
	Readings       []string
}

const (
	freeSpots = 3
	// mostVisits bounds the list; the newest are shown.
	mostVisits = 20
	// floorSpots are the places of one floor whose surface is read.
	floorSpots = 3
)

func (s *server) visit(r *http.Request) (*page, error) {
	record, body, err := s.visitBody(r)
	if err != nil {
		return nil, err
	}
	if r.URL.Query().Get("done") != "" {
		body.Said = "Written into the record. Figures take it in within a few seconds."
	}
	body.At = s.Now().In(record.Zone()).Format(minuteLayout)
	return &page{Template: "visit", Title: "Visit, " + body.Head.Name, Body: body}, nil
}

func (s *server) visitBody(r *http.Request) (*site.Record, *visitBody, error) {
	record, err := s.record(r.PathValue("id"))
	if err != nil {
		return nil, nil, err
	}
	body := &visitBody{Form: s.formFor(r), Closed: s.SitesDir == ""}
	if body.Head, err = s.plantHead(r, record, "visit"); err != nil {
		return nil, nil, err
	}
	if s.SitesDir != "" {
		if written, err := site.Load(recordPath(s.SitesDir, record.ID)); err == nil {
			record = written // as it stands, a visit of a moment ago included
		}
	}
	body.Groups = spotGroups(record)
	for i := range freeSpots {
		body.Free = append(body.Free, freeSpot{Index: fmt.Sprint(i + 1)})
	}
	body.Visits = visitLines(record)
	return record, body, nil
}

// spotGroups are the readings that a record lets expect.
func spotGroups(record *site.Record) []spotGroup {
	field := func(q ingest.Quantity, place, name string, number int) spotField {
		ch := ingest.NewChannel(q, place)
		return spotField{Field: fmt.Sprintf("%s.%d", ch, number), Name: name, Unit: ch.Unit().Symbol(), channel: ch}
	}
	groups := []spotGroup{{Name: "At the heat pump", Spots: []spotField{
		field(ingest.FlowTemp, "", "Flow", 0), field(ingest.ReturnTemp, "", "Return", 0), field(ingest.FlowRate, "", "Flow rate", 0),
		field(ingest.OutdoorTemp, "", "Outdoors", 0), field(ingest.Pressure, "", "Pressure", 0), field(ingest.CylinderTemp, "", "Cylinder", 0),
	}}}
	if record.Commissioned != nil && len(record.Commissioned.Circuits) > 0 {
		g := spotGroup{Name: "Loops and circuits"}
		for _, c := range record.Commissioned.Circuits {
			name := upperFirst(kindInWords(c.Name))
			g.Spots = append(g.Spots, field(ingest.FlowRate, c.Name, name+", flow rate", 0), field(ingest.ReturnTemp, c.Name, name+", return", 0))
		}
		groups = append(groups, g)
	}
	if record.Emitters == nil {
		return groups
	}
	rooms, floors := spotGroup{Name: "Rooms"}, spotGroup{Name: "Floor surfaces"}
	for _, room := range record.Emitters.Rooms {
		name := upperFirst(kindInWords(room.Place))
		rooms.Spots = append(rooms.Spots, field(ingest.RoomTemp, room.Place, name, 0))
		if room.FloorAreaM2 != nil {
			for i := range floorSpots {
				floors.Spots = append(floors.Spots, field(ingest.FloorTemp, room.Place, fmt.Sprintf("%s, place %d", name, i+1), i))
			}
		}
	}
	for _, g := range []spotGroup{rooms, floors} {
		if len(g.Spots) > 0 {
			groups = append(groups, g)
		}
	}
	return groups
}

// visitLines are the visits of a record, the newest first.
func visitLines(record *site.Record) []visitLine {
	visits := slices.Clone(record.Visits)
	slices.SortStableFunc(visits, func(a, b site.Visit) int { return strings.Compare(b.Time, a.Time) })
	var lines []visitLine
	for _, v := range visits[:min(len(visits), mostVisits)] {
		l := visitLine{When: v.Time, By: v.By, Note: v.Note}
		if at, err := time.Parse(time.RFC3339, v.Time); err == nil {
			l.When = at.In(record.Zone()).Format("Mon 2 Jan 2006, 15:04")
		}
		for _, reading := range v.Readings {
			unit := reading.Unit
			if unit == "" {
				unit = reading.Channel.Unit()
			}
			value := reading.Value
			l.Readings = append(l.Readings, channelInWords(reading.Channel)+" "+measured(&value, digitsOf(value), strings.Replace(unit.Symbol(), "L/", "l/", 1)).String())
		}
		lines = append(lines, l)
	}
	return lines
}

// digitsOf are as many digits as a value was written with, three at most.
func digitsOf(value float64) int {
	text := fmt.Sprintf("%.3f", value)
	text = strings.TrimRight(text, "0")
	return len(text) - strings.IndexByte(text, '.') - 1
}

// writeVisit writes what was sent into the record, or shows the form again with
// what is wrong.
func (s *server) writeVisit(r *http.Request) (*page, error) {
	record, body, err := s.visitBody(r)
	if err != nil {
		return nil, err
	}
	address := plantAddress(record.ID) + "/visit"
	by, err := s.readForm(r, address, "Visit")
	if err != nil {
		return nil, err
	}
	if body.Closed {
		return nil, &refusal{Status: http.StatusConflict, Title: "Visits cannot be written from here",
			Detail: "This deployment does not let pages write site records.", Back: address, BackName: "Visit"}
	}
	v := body.read(r.PostForm, by, s.Now(), record.Zone())
	if !body.wrong() {
		if err := s.appendVisit(record.ID, v); err == nil {
			return &page{Onward: address + "?done=1"}, nil
		} else if refused, ok := err.(*recordError); ok {
			body.Mistake = refused.Error()
		} else {
			return nil, err
		}
	}
	return &page{Template: "visit", Title: "Visit, " + body.Head.Name, Status: http.StatusUnprocessableEntity, Body: body}, nil
}

// wrong says whether any field has a mistake.
func (b *visitBody) wrong() bool {
	if b.AtMistake != "" || b.Mistake != "" || slices.ContainsFunc(b.Free, func(f freeSpot) bool { return f.Mistake != "" }) {
		return true
	}
	return slices.ContainsFunc(b.Groups, func(g spotGroup) bool {
		return slices.ContainsFunc(g.Spots, func(f spotField) bool { return f.Mistake != "" })
	})
}

// read takes the fields over, with what is wrong about each.
func (b *visitBody) read(sent url.Values, by string, now time.Time, zone *time.Location) site.Visit {
	b.By, b.Note, b.At = by, oneLine(sent.Get("note"), longestNote), oneLine(sent.Get("at"), 40)
	b.LitresMinute = sent.Get("flow_unit") == "L/min"
	v := site.Visit{By: b.By, Note: b.Note}
	at, fine := parseMoment(b.At, zone)
	switch {
	case !fine:
		b.AtMistake = "Write the time of the visit, as 2026-01-31T10:30."
	case at.After(now.Add(ingest.MaxAhead)):
		b.AtMistake = "This is still to come: write when you were there."
	case at.Before(ingest.Oldest):
		b.AtMistake = "This is before houses were watched: check the year."
	}
	v.Time = at.Format(time.RFC3339)
	for g := range b.Groups {
		for i := range b.Groups[g].Spots {
			f := &b.Groups[g].Spots[i]
			f.Value = oneLine(sent.Get(f.Field), 20)
			b.spot(&v, f.channel, f.Value, &f.Mistake)
		}
	}
	for i := range b.Free {
		f := &b.Free[i]
		f.Channel, f.Value = oneLine(sent.Get("channel"+f.Index), 80), oneLine(sent.Get("value"+f.Index), 20)
		b.freeSpot(&v, f)
	}
	if len(v.Readings) == 0 && v.Note == "" && !b.wrong() {
		b.Mistake = "Nothing was filled in: give a reading or a note."
	}
	return v
}

func (b *visitBody) freeSpot(v *site.Visit, f *freeSpot) {
	if f.Channel == "" {
		if f.Value != "" {
			f.Mistake = "Say which channel this is, such as return_temp/north."
		}
		return
	}
	ch, err := ingest.ParseChannel(f.Channel)
	switch {
	case err != nil:
		f.Mistake = sentence(err.Error())
	case f.Value == "":
		f.Mistake = "Write its value."
	default:
		b.spot(v, ch, f.Value, &f.Mistake)
	}
}

// spot adds one reading, nothing for an empty field.
func (b *visitBody) spot(v *site.Visit, ch ingest.Channel, text string, mistake *string) {
	if text == "" {
		return
	}
	value, err := ingest.ParseNumber(strings.Replace(strings.ReplaceAll(text, minus, "-"), ",", ".", 1))
	if err != nil {
		*mistake = "This is no number: write 21.5."
		return
	}
	reading := site.SpotReading{Channel: ch, Value: value, Unit: ch.Unit()}
	if ch.Quantity() == ingest.FlowRate && b.LitresMinute {
		reading.Unit = "L/min"
	}
	canonical, err := reading.Unit.Convert(value, ch.Quantity())
	if err == nil {
		err = ch.Quantity().CheckValue(canonical)
	}
	if err != nil {
		*mistake = sentence(err.Error())
		return
	}
	v.Readings = append(v.Readings, reading)
}

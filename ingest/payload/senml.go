package payload

import (
	"bytes"
	"fmt"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// relativeBelowS: smaller times are relative to now (RFC 8428 section 4.5.3).
const relativeBelowS = 1 << 28

// furthestS bounds a SenML time: absolute ones end in 2100, relative ones go
// back as far. Milliseconds, sent by mistake, are beyond it.
const furthestS = 4102444800

// decodePack takes a SenML pack (RFC 8428) of one site.
func (d *Decoder) decodePack(o *outcome, t *table) {
	s := d.scratch.get()
	defer d.scratch.put(s)
	root, err := s.parse(o.body)
	if err == nil {
		err = s.resolve(root)
	}
	if err != nil {
		o.refuse(t.id, err, nil)
		return
	}
	o.expect(len(s.records))
	for i := range s.records {
		if r := &s.records[i]; r.err != nil || r.kind != noValue {
			d.takeRecord(o, t, r)
		}
	}
}

// takeRecord makes a reading of one resolved record.
func (d *Decoder) takeRecord(o *outcome, t *table, r *record) {
	if r.err != nil {
		o.refuse(t.id, r.err, r.source)
		return
	}
	c, err := d.packChannel(t, r.name)
	if err != nil {
		o.refuse(t.id, err, r.source)
		return
	}
	if r.kind == sumValue && !c.Quantity().IsRegister() {
		return
	}
	at, err := recordTime(r.timeS, o.arrived)
	var value float64
	if err == nil {
		value, err = d.recordValue(t, c, r)
	}
	if err != nil {
		o.refuse(t.id, about(c, err), r.source)
		return
	}
	o.add(t.id, c, at, value, r.source)
}

// recordTime resolves a record's time (RFC 8428 section 4.5.3).
func recordTime(timeS float64, arrived time.Time) (time.Time, error) {
	switch {
	case timeS < -furthestS || timeS >= furthestS:
		return time.Time{}, refused(ingest.BadTime, "time %g is absurd; SenML times are seconds (RFC 8428 section 4.5.3)", timeS)
	case timeS < relativeBelowS:
		return arrived.Add(ingest.SecondsTime(timeS).Sub(time.Unix(0, 0))), nil
	}
	return ingest.SecondsTime(timeS), nil
}

// recordValue returns the record's value in the canonical unit.
func (d *Decoder) recordValue(t *table, c ingest.Channel, r *record) (float64, error) {
	unit := r.unit
	if r.kind == sumValue {
		integral, err := sumUnit(string(r.unit))
		if err != nil {
			return 0, err
		}
		unit = []byte(integral)
	}
	in, err := d.packIntake(t, c, unit)
	if err != nil {
		return 0, err
	}
	switch r.kind {
	case textValue, truthValue:
		return in.Text(string(r.text))
	case dataValue:
		return 0, refused(ingest.BadPayload, "vd holds data; send the value as v")
	}
	return in.Number(r.number)
}

// packIntake returns the intake for a channel in a SenML unit. Without a unit
// the values are as on the channel's default topic.
func (d *Decoder) packIntake(t *table, c ingest.Channel, unit []byte) (*ingest.Intake, error) {
	if len(unit) == 0 {
		return d.intake(t, c), nil
	}
	in, ok := d.units[unitOfQuantity{c.Quantity(), string(unit)}]
	if !ok {
		_, err := ingest.NewIntake(c.Quantity(), ingest.Unit(unit), nil)
		if err == nil {
			err = fmt.Errorf("unit %q is not known", unit)
		}
		return nil, refused(ingest.BadPayload, "%s", err)
	}
	if c.Unit() == ingest.One {
		return d.intake(t, c), nil
	}
	return in, nil
}

// unitOfQuantity is a key: a quantity and any spelling of a unit that fits it.
type unitOfQuantity struct {
	quantity ingest.Quantity
	spelling string
}

func packUnits() (map[unitOfQuantity]*ingest.Intake, error) {
	units := make(map[unitOfQuantity]*ingest.Intake)
	for _, q := range ingest.Quantities() {
		for _, spelling := range ingest.UnitSpellings(ingest.Alternatives(q.Unit())...) {
			in, err := ingest.NewIntake(q, ingest.Unit(spelling), nil)
			if err != nil {
				return nil, fmt.Errorf("quantity %q: %w", q, err)
			}
			units[unitOfQuantity{q, spelling}] = in
		}
	}
	return units, nil
}

// sumUnit returns the unit of a sum: that of the value times a second (RFC 8428
// section 4.2), for the units whose integral a register shows.
func sumUnit(unit string) (string, error) {
	switch unit {
	case "W":
		return "J", nil
	case "kW":
		return "kJ", nil
	case "m3/s":
		return "m3", nil
	case "l/s", "L/s":
		return "L", nil
	}
	return "", refused(ingest.BadPayload, "a sum of %q is no register: give the unit of the rate, W, kW, m3/s or l/s, or send the register as v", unit)
}

// packChannel reads the channel from a record's name: the channel alone,
// behind the site (and coldweek) with slashes, or at the end of a URN (see
// channelInURN). Another site's name is refused, whoever sent it.
func (d *Decoder) packChannel(t *table, name []byte) (ingest.Channel, error) {
	part := name
	if bytes.HasPrefix(name, []byte("urn:")) {
		part = channelInURN(name)
	} else {
		part = bytes.TrimPrefix(part, []byte(site.TopicRoot+"/"))
		if rest, ok := bytes.CutPrefix(part, []byte(t.id)); ok && len(rest) > 1 && rest[0] == '/' {
			part = rest[1:]
		}
	}
	if c, ok := d.channels[string(part)]; ok {
		return c, nil
	}
	head, _, _ := bytes.Cut(part, []byte("/"))
	if other, ok := d.sites[string(head)]; ok {
		return "", refused(ingest.UnknownChannel, "the name %s is of site %q, but the pack came on the topic of %q", shorten(string(name)), other.id, t.id)
	}
	return d.channel(string(part))
}

// channelInURN returns what follows the device in a URN: behind the last
// colon in "urn:dev:ow:10e2073a0108006:flow_temp", or behind the first slash
// or underscore after the identifier, as in the device URN
// "urn:dev:ow:10e2073a01080063_flow_temp" (RFC 9039).
func channelInURN(name []byte) []byte {
	last := name[bytes.LastIndexByte(name, ':')+1:]
	colonsToIdentifier := 2 // urn:<namespace>:<identifier>
	if bytes.HasPrefix(name, []byte("urn:dev:")) {
		colonsToIdentifier = 3 // urn:dev:<type>:<identifier>
	}
	if bytes.Count(name, []byte(":")) > colonsToIdentifier {
		return last
	}
	return last[bytes.IndexAny(last, "/_")+1:]
}

package payload

import (
	"time"

	"github.com/valyala/fastjson"

	"coldweek/ingest"
)

// group is what one site takes from one topic: from the message itself, or
// from each element of an array of samples in it.
type group struct {
	site    string
	samples Pointer // nil: the message is the only sample
	entries []entry
}

// entry is one channel of a group. Pointers start at the sample.
type entry struct {
	channel ingest.Channel
	intake  *ingest.Intake
	bare    bool // the payload is the value
	value   Pointer
	time    Pointer // nil: the time of arrival
}

func (d *Decoder) decodeMapped(o *outcome, groups []group) {
	if bare := groups[0].entries[0].bare; bare {
		decodeBare(o, groups)
		return
	}
	s := d.scratch.get()
	defer d.scratch.put(s)
	root, err := s.parse(o.body)
	if err != nil {
		for _, g := range groups {
			o.refuse(g.site, err, nil)
		}
		return
	}
	for i := range groups {
		groups[i].decode(o, s, root)
	}
}

func decodeBare(o *outcome, groups []group) {
	for _, g := range groups {
		e := g.entries[0]
		value, err := bareValue(e.intake, o.body)
		if err != nil {
			o.refuse(g.site, err, nil)
			continue
		}
		o.add(g.site, e.channel, o.arrived, value, nil)
	}
}

func (g *group) decode(o *outcome, s *scratch, root *fastjson.Value) {
	if g.samples == nil {
		o.expect(len(g.entries))
		g.decodeSample(o, s, root, nil)
		return
	}
	samples := g.samples.find(root)
	if samples == nil || samples.Type() != fastjson.TypeArray {
		o.refuse(g.site, refused(ingest.BadPayload, "the pointer %q to the samples leads to no array", g.samples), nil)
		return
	}
	o.expect(len(g.entries) * len(samples.GetArray()))
	for _, sample := range samples.GetArray() {
		g.decodeSample(o, s, sample, sample)
	}
}

// decodeSample takes each channel of the group from one sample. Part is what a
// refusal keeps.
func (g *group) decodeSample(o *outcome, s *scratch, sample, part *fastjson.Value) {
	found := false
	clock := sampleClock{arrived: o.arrived, required: g.samples != nil}
	for i := range g.entries {
		e := &g.entries[i]
		v := e.value.find(sample)
		if v == nil || v.Type() == fastjson.TypeNull {
			continue
		}
		found = true
		t, err := clock.read(s, sample, e.time)
		var value float64
		if err == nil {
			value, err = s.take(e.intake, v)
		}
		if err != nil {
			o.refuse(g.site, about(e.channel, err), part)
			continue
		}
		o.add(g.site, e.channel, t, value, part)
	}
	if !found && o.full() {
		o.beyond++
	} else if !found {
		o.refuse(g.site, refused(ingest.BadPayload, "none of the pointers of site %q leads to a value: %v", g.site, g.pointers()), part)
	}
}

// about puts the channel before what was wrong with its value.
func about(c ingest.Channel, err error) error {
	return refused(reasonOf(err), "%s: %s", c, err)
}

func (g *group) pointers() []string {
	all := make([]string, len(g.entries))
	for i, e := range g.entries {
		all[i] = e.value.String()
	}
	return all
}

// sampleClock reads a sample's time once for all channels with the same
// pointer to it.
type sampleClock struct {
	arrived  time.Time
	required bool
	pointer  Pointer
	time     time.Time
	err      error
}

func (c *sampleClock) read(s *scratch, sample *fastjson.Value, p Pointer) (time.Time, error) {
	if p == nil {
		return c.arrived, nil
	}
	if c.pointer == nil || &c.pointer[0] != &p[0] {
		c.pointer = p
		c.time, c.err = c.resolve(s, p.find(sample))
	}
	return c.time, c.err
}

func (c *sampleClock) resolve(s *scratch, v *fastjson.Value) (time.Time, error) {
	switch {
	case v == nil || v.Type() == fastjson.TypeNull:
		if c.required {
			return time.Time{}, refused(ingest.BadTime, "the sample has no time")
		}
		return c.arrived, nil
	case v.Type() == fastjson.TypeString:
		return ingest.ParseTime(string(text(v)))
	case v.Type() == fastjson.TypeNumber:
		unix, err := s.number(v)
		if err != nil {
			return time.Time{}, refused(ingest.BadTime, "time: %s", err)
		}
		return ingest.UnixTime(unix)
	}
	return time.Time{}, refused(ingest.BadTime, "the time is %s, neither a number nor a text", article(v))
}

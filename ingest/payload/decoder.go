package payload

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// MaxBody is the longest message that is looked into.
const MaxBody = 1 << 20

// packLevel is the last level of the topic for SenML packs.
const packLevel = "senml"

// Decoder turns messages into readings. It does not change after NewDecoder
// and may be used by many goroutines.
type Decoder struct {
	sites    map[string]*table
	mapped   map[string][]group
	ordinary map[ingest.Quantity]*ingest.Intake
	units    map[unitOfQuantity]*ingest.Intake
	channels map[string]ingest.Channel // names met often, so that they need no copy
	scratch  scratchPool
}

// table is what differs from the ordinary on one site's default topics.
type table struct {
	id      string
	intakes map[ingest.Channel]*ingest.Intake
}

// NewDecoder reads the channels of the records. The error names site, channel
// and what would be right for every mapping that cannot be used, and every
// value that two channels claim.
func NewDecoder(records []*site.Record) (*Decoder, error) {
	d := &Decoder{
		sites:    make(map[string]*table, len(records)),
		ordinary: make(map[ingest.Quantity]*ingest.Intake),
		channels: make(map[string]ingest.Channel),
	}
	var err error
	if d.units, err = packUnits(); err != nil {
		return nil, err
	}
	for _, q := range ingest.Quantities() {
		in, err := ingest.NewIntake(q, "", nil)
		if err != nil {
			return nil, fmt.Errorf("quantity %q: %w", q, err)
		}
		d.ordinary[q] = in
		d.channels[string(q)] = ingest.Channel(q)
	}
	if d.mapped, err = d.learn(records); err != nil {
		return nil, fmt.Errorf("read the channels of the site records: %w", err)
	}
	return d, nil
}

// Filters returns what to subscribe to: the default topics and every mapped
// topic beside them, in alphabetical order.
func (d *Decoder) Filters() []string {
	filters := []string{site.TopicRoot + "/#"}
	for topic := range d.mapped {
		if !strings.HasPrefix(topic, site.TopicRoot+"/") {
			filters = append(filters, topic)
		}
	}
	slices.Sort(filters)
	return filters
}

// Decode returns the readings of a message that arrived on a topic, in the
// order of the message, and what of it was refused. It keeps no part of body.
func (d *Decoder) Decode(topic string, body []byte, arrived time.Time) ([]ingest.Reading, []ingest.Rejected) {
	o := outcome{topic: topic, body: body, arrived: arrived}
	groups, isMapped := d.mapped[topic]
	siteID, rest, isDefault := cutTopic(topic)
	switch {
	case len(body) > MaxBody:
		o.refuse(siteLabel(siteID), refused(ingest.TooLarge, "the message has %d bytes, more than %d: send fewer readings at once", len(body), MaxBody), nil)
	case isMapped:
		d.decodeMapped(&o, groups)
	case !isDefault:
		o.refuse("", refused(ingest.UnknownTopic, "no site maps this topic, and it is not %s/<site>/<channel> or %s/<site>/%s", site.TopicRoot, site.TopicRoot, packLevel), nil)
	default:
		d.decodeDefault(&o, siteID, rest)
	}
	return o.finish()
}

// cutTopic splits coldweek/<site>/<rest>.
func cutTopic(topic string) (siteID, rest string, ok bool) {
	tail, ok := strings.CutPrefix(topic, site.TopicRoot+"/")
	if !ok {
		return "", "", false
	}
	siteID, rest, ok = strings.Cut(tail, "/")
	if !ok || siteID == "" || rest == "" {
		return "", "", false
	}
	return siteID, rest, true
}

func (d *Decoder) decodeDefault(o *outcome, siteID, rest string) {
	t, ok := d.sites[siteID]
	if !ok {
		o.refuse(siteLabel(siteID), refused(ingest.UnknownSite, "there is no site %s; known: %s", shorten(siteID), d.nearestSite(siteID)), nil)
		return
	}
	if rest == packLevel {
		d.decodePack(o, t)
		return
	}
	c, err := d.channel(rest)
	if err != nil {
		o.refuse(t.id, err, nil)
		return
	}
	value, err := bareValue(d.intake(t, c), o.body)
	if err != nil {
		o.refuse(t.id, err, nil)
		return
	}
	o.add(t.id, c, o.arrived, value, nil)
}

// nearestSite helps with a mistyped site; long garbage is not compared.
func (d *Decoder) nearestSite(siteID string) string {
	if len(d.sites) == 0 {
		return "none"
	}
	if len(siteID) > maxSiteID {
		return fmt.Sprintf("%d sites", len(d.sites))
	}
	ids := make([]string, 0, len(d.sites))
	for id := range d.sites {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	nearest := fmt.Sprintf("%q", ingest.Nearest(siteID, ids))
	if len(ids) == 1 {
		return nearest
	}
	return fmt.Sprintf("%s and %d more", nearest, len(ids)-1)
}

// maxSiteID is the longest site id a record can have.
const maxSiteID = 63

// siteLabel is what a refusal names as the site; garbage is left to the topic.
func siteLabel(siteID string) string {
	if len(siteID) > maxSiteID {
		return ""
	}
	return siteID
}

// maxChannel is longer than any channel's name can be.
const maxChannel = 128

// channel reads a channel's name. The text may be part of a buffer that is
// used again, so a name that is not known yet is copied.
func (d *Decoder) channel(name string) (ingest.Channel, error) {
	if c, ok := d.channels[name]; ok {
		return c, nil
	}
	if len(name) > maxChannel {
		return "", refused(ingest.UnknownChannel, "%s is too long for a channel", shorten(name))
	}
	quantity, _, _ := strings.Cut(name, "/")
	if !ingest.Quantity(quantity).Known() {
		return "", unknownChannel(strings.Clone(name))
	}
	c, err := ingest.ParseChannel(strings.Clone(name))
	if err != nil {
		return "", refused(ingest.UnknownChannel, "%s", err)
	}
	return c, nil
}

// unknownChannel is an error that looks for the nearest known name only when
// it is read: a pack may hold thousands.
type unknownChannel string

func (e unknownChannel) Error() string {
	_, err := ingest.ParseChannel(string(e))
	return err.Error()
}

func shorten(s string) string {
	if len(s) > maxChannel {
		return fmt.Sprintf("%q...", s[:maxChannel])
	}
	return fmt.Sprintf("%q", s)
}

// intake returns how a site's default topics give a channel.
func (d *Decoder) intake(t *table, c ingest.Channel) *ingest.Intake {
	if in, ok := t.intakes[c]; ok {
		return in
	}
	return d.ordinary[c.Quantity()]
}

// bareValue reads a payload that is only a value: a number, a word for a mode,
// either of them perhaps as a JSON string.
func bareValue(in *ingest.Intake, body []byte) (float64, error) {
	text := bytes.TrimSpace(body)
	if len(text) > 0 && (text[0] == '{' || text[0] == '[') {
		return 0, refused(ingest.BadPayload, "JSON came where a bare number was expected: give the channel a pointer in the site record, or publish SenML on %s/<site>/%s", site.TopicRoot, packLevel)
	}
	if n := len(text); n > 1 && text[0] == '"' && text[n-1] == '"' {
		text = text[1 : n-1]
	}
	return in.Text(string(text))
}

package payload

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"coldweek/ingest"
	"coldweek/ingest/site"
)

// claim is one channel's wish for one value of one topic.
type claim struct {
	site   string
	topic  string
	source site.Source
	unit   ingest.Unit
	array  bool
	at     Pointer // the array of samples
	entry
}

// place names the value claimed: two claims on the same one can clash.
func (c *claim) place() string {
	return fmt.Sprintf("%q %t %q %q", c.topic, c.array, c.at, c.value)
}

func (c *claim) String() string { return fmt.Sprintf("site %q channel %q", c.site, c.channel) }

// learn fills the sites' tables and returns what each mapped topic gives.
func (d *Decoder) learn(records []*site.Record) (map[string][]group, error) {
	var claims []*claim
	var errs []error
	for _, r := range records {
		if _, twice := d.sites[r.ID]; twice {
			errs = append(errs, fmt.Errorf("site %q: there are two records with this id", r.ID))
			continue
		}
		d.sites[r.ID] = &table{id: r.ID, intakes: make(map[ingest.Channel]*ingest.Intake)}
	}
	for _, r := range records {
		for _, c := range slices.Sorted(maps.Keys(r.Channels)) {
			claimed, err := d.learnChannel(r, c)
			if err != nil {
				errs = append(errs, fmt.Errorf("site %q channel %q: %w", r.ID, c, err))
			} else if claimed != nil {
				claims = append(claims, claimed)
			}
		}
	}
	errs = append(errs, clashes(claims)...)
	return groupClaims(claims), errors.Join(errs...)
}

// learnChannel returns the channel's claim, or nil when its messages come on
// the default topic as a bare value. A unit is that of the mapped topic or
// column; only a source that names neither changes the default topic's unit.
func (d *Decoder) learnChannel(r *site.Record, c ingest.Channel) (*claim, error) {
	source := r.Channels[c]
	if _, err := ingest.ParseChannel(string(c)); err != nil {
		return nil, err
	}
	d.channels[string(c)] = c
	mapped := source.Topic != "" || source.Pointer != "" || source.Samples != ""
	defaultUnit := source.Unit
	if mapped || source.Column != "" {
		defaultUnit = ""
	}
	in, err := ingest.NewIntake(c.Quantity(), defaultUnit, source.Values)
	if err != nil {
		return nil, err
	}
	d.sites[r.ID].intakes[c] = in
	if !mapped {
		return nil, noPointers(source)
	}
	return newClaim(r.ID, c, source)
}

func noPointers(source site.Source) error {
	if source.TimePointer != "" {
		return fmt.Errorf("time_pointer %q needs a pointer to the value too", source.TimePointer)
	}
	return nil
}

func newClaim(siteID string, c ingest.Channel, source site.Source) (*claim, error) {
	topic := source.Topic
	if topic == "" {
		topic = site.DefaultTopic(siteID, c)
	}
	if err := checkTopic(topic, siteID); err != nil {
		return nil, err
	}
	unit, err := unitOf(source, c)
	if err != nil {
		return nil, err
	}
	in, err := ingest.NewIntake(c.Quantity(), unit, source.Values)
	if err != nil {
		return nil, err
	}
	made := &claim{site: siteID, topic: topic, source: source, unit: unit, entry: entry{channel: c, intake: in}}
	return made, made.readPointers()
}

func unitOf(source site.Source, c ingest.Channel) (ingest.Unit, error) {
	if source.Unit == "" {
		return c.Unit(), nil
	}
	return ingest.ParseUnit(string(source.Unit))
}

func (c *claim) readPointers() error {
	s := c.source
	if s.Pointer == "" && s.Samples == "" {
		c.bare = true
		return noPointers(s)
	}
	var err error
	if c.value, err = ParsePointer(s.Pointer); err != nil {
		return err
	}
	if s.TimePointer != "" {
		if c.time, err = ParsePointer(s.TimePointer); err != nil {
			return fmt.Errorf("time_pointer: %w", err)
		}
		if len(c.time) == 0 {
			return fmt.Errorf("time_pointer %q is the whole sample, which cannot be both time and value", s.TimePointer)
		}
	}
	if s.Samples == "" {
		return nil
	}
	if c.time == nil || len(c.value) == 0 {
		return fmt.Errorf("samples %q need a pointer and a time_pointer, both starting at the sample", s.Samples)
	}
	c.array = true
	if c.at, err = ParsePointer(s.Samples); err != nil {
		return fmt.Errorf("samples: %w", err)
	}
	return nil
}

// checkTopic wants a topic that can be subscribed to as it is and that is not
// another site's.
func checkTopic(topic, siteID string) error {
	switch {
	case strings.ContainsAny(topic, "+#"):
		return fmt.Errorf("topic %q has a wildcard: give each channel its own full topic", topic)
	case strings.ContainsRune(topic, 0) || len(topic) > 65535:
		return fmt.Errorf("topic %.40q is none that MQTT allows (version 3.1.1, section 4.7.3)", topic)
	case strings.HasPrefix(topic, "$share/") || strings.HasPrefix(topic, "$queue/"):
		return fmt.Errorf("topic %q is a subscription; name the topic behind it", topic)
	}
	tail, underRoot := strings.CutPrefix(topic, site.TopicRoot+"/")
	if !underRoot {
		return nil
	}
	owner, rest, _ := strings.Cut(tail, "/")
	if owner != siteID {
		return fmt.Errorf("topic %q belongs to site %q; a site's own start with %s", topic, owner, site.TopicPrefix(siteID))
	}
	if rest == packLevel {
		return fmt.Errorf("topic %q is for SenML packs; name another one", topic)
	}
	return nil
}

// clashes returns an error for each value claimed in two ways. Two channels of
// one site never share a value; two sites may, if they read it alike.
func clashes(claims []*claim) []error {
	var errs []error
	first := make(map[string]*claim)
	bareness := make(map[string]*claim)
	for _, c := range claims {
		if other, ok := bareness[c.topic]; !ok {
			bareness[c.topic] = c
		} else if other.bare != c.bare {
			bare, pointed := c, other
			if other.bare {
				bare, pointed = other, c
			}
			errs = append(errs, fmt.Errorf("%s takes topic %q as a bare value, but %s by a pointer", bare, c.topic, pointed))
			continue
		}
		other, taken := first[c.place()]
		if !taken {
			first[c.place()] = c
			continue
		}
		if why := c.differs(other); why != "" {
			errs = append(errs, fmt.Errorf("%s clashes with %s: both read %s of topic %q, %s", c, other, c.what(), c.topic, why))
		}
	}
	return errs
}

func (c *claim) what() string {
	if c.bare {
		return "the bare value"
	}
	return fmt.Sprintf("pointer %q", c.value)
}

func (c *claim) differs(other *claim) string {
	switch {
	case c.site == other.site:
		return "and one value cannot be two channels of a site"
	case c.channel.Quantity() != other.channel.Quantity():
		return "as different quantities"
	case c.unit != other.unit:
		return fmt.Sprintf("in %q and in %q", string(c.unit), string(other.unit))
	case c.time.String() != other.time.String():
		return "with different times"
	case !maps.Equal(c.source.Values, other.source.Values):
		return "with different values"
	}
	return ""
}

// groupClaims puts together what a site takes from the same sample, so that a
// sample is looked at once and its time read once.
func groupClaims(claims []*claim) map[string][]group {
	mapped := make(map[string][]group)
	for _, c := range claims {
		groups := mapped[c.topic]
		i := slices.IndexFunc(groups, func(g group) bool {
			return g.site == c.site && (g.samples != nil) == c.array && slices.Equal(g.samples, c.at)
		})
		if i < 0 {
			groups = append(groups, group{site: c.site, samples: c.at})
			i = len(groups) - 1
		}
		groups[i].add(c.entry)
		mapped[c.topic] = groups
	}
	return mapped
}

// add keeps entries with the same pointer to the time together and lets them
// share it, by which sampleClock knows them.
func (g *group) add(e entry) {
	for i := len(g.entries) - 1; i >= 0; i-- {
		if e.time != nil && slices.Equal(g.entries[i].time, e.time) {
			e.time = g.entries[i].time
			g.entries = slices.Insert(g.entries, i+1, e)
			return
		}
	}
	g.entries = append(g.entries, e)
}

package site

import (
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coldweek/ingest"
)

// maxTopicBytes is what MQTT's length field can say (3.1.1, section 1.5.3).
const maxTopicBytes = 65535

// channelNames returns the mapped channels in alphabetical order.
func (r *Record) channelNames() []ingest.Channel { return slices.Sorted(maps.Keys(r.Channels)) }

func (d *decoder) checkChannels(r *Record) {
	owners := sourceOwners{decoder: d, values: map[string]ingest.Channel{}, bare: map[string]bool{}, columns: map[string]ingest.Channel{}}
	for _, c := range r.channelNames() {
		s, path := r.Channels[c], "channels."+string(c)
		d.checkUnit(path+".unit", s.Unit, c)
		d.checkTopic(path+".topic", s.Topic, r.ID, c)
		d.checkPointers(path, s)
		d.checkValues(path, s, c)
		owners.check(path, r.ID, c, s)
	}
}

// checkUnit says which units a channel takes and which channels take the unit.
func (d *decoder) checkUnit(path string, u ingest.Unit, c ingest.Channel) {
	if u == "" || u.FitsIn(c.Unit()) {
		return
	}
	var fitting []string
	for _, alternative := range ingest.Alternatives(c.Unit()) {
		fitting = append(fitting, string(alternative))
	}
	fix := "write " + listed(fitting)
	var others []string
	for _, q := range ingest.Quantities() {
		if u.FitsIn(q.Unit()) {
			others = append(others, string(q))
		}
	}
	if len(others) > 0 && len(others) < 4 {
		fix += "; " + string(u) + " is a unit of " + listed(others)
	}
	d.report(path, fmt.Sprintf("%s is no unit of %s", string(u), c.Quantity()), fix)
}

// checkTopic wants a topic that can be subscribed to as it is and that no
// other site may write to.
func (d *decoder) checkTopic(path, topic, id string, c ingest.Channel) {
	own := TopicPrefix(id)
	tail, ours := strings.CutPrefix(topic, TopicRoot+"/")
	owner, rest, _ := strings.Cut(tail, "/")
	switch {
	case strings.ContainsAny(topic, "+#"):
		d.report(path, quote(topic)+" holds a wildcard", "give each channel the one topic it comes on")
	case len(topic) > maxTopicBytes || strings.ContainsRune(topic, 0):
		d.report(path, quote(topic)+" is no MQTT topic", fmt.Sprintf("write at most %d bytes of text", maxTopicBytes))
	case strings.HasPrefix(topic, "$"):
		d.report(path, quote(topic)+" is the broker's own", "name a topic that the plant publishes on")
	case ours && id != "" && owner != id:
		d.report(path, quote(topic)+" belongs to site "+quote(owner), "write "+quote(own+rest))
	case ours && rest == "senml":
		d.report(path, quote(topic)+" is for SenML packs, which need no mapping", "name another topic or leave it out")
	case ours && ingest.Quantity(rest).Known() && rest != string(c):
		d.warn(path, quote(topic)+" is the default topic of "+rest, "check that the two are not swapped")
	}
}

func (d *decoder) checkPointers(path string, s Source) {
	for _, p := range []struct{ key, text string }{{"pointer", s.Pointer}, {"samples", s.Samples}, {"time_pointer", s.TimePointer}} {
		if p.text != "" && !isPointer(p.text) {
			d.report(path+"."+p.key, quote(p.text)+" is no JSON Pointer (RFC 6901)", "write "+strconv.Quote(shorten(pointerOf(p.text))))
		}
	}
	switch {
	case s.Samples != "" && (s.Pointer == "" || s.TimePointer == ""):
		d.report(path+".samples", "an array of samples needs pointer and time_pointer", "add both; they begin at each sample")
	case s.TimePointer != "" && s.Pointer == "":
		d.report(path+".time_pointer", "time_pointer needs a pointer to the value too", "add pointer:")
	}
}

// isPointer says whether s is a JSON Pointer in its string or its URI fragment
// form (RFC 6901 sections 3 and 6).
func isPointer(s string) bool {
	if fragment, found := strings.CutPrefix(s, "#"); found {
		decoded, err := url.PathUnescape(fragment)
		if err != nil {
			return false
		}
		s = decoded
	}
	if s != "" && s[0] != '/' {
		return false
	}
	s = strings.NewReplacer("~0", "", "~1", "").Replace(s)
	return !strings.Contains(s, "~")
}

var (
	looseTilde = regexp.MustCompile(`~([^01]|$)`)
	brackets   = regexp.MustCompile(`\[["']?([^\]"']*)["']?\]`)
)

// pointerOf writes a path of another form, such as "$.heat[0].flow", as a JSON
// Pointer.
func pointerOf(s string) string {
	if !strings.HasPrefix(s, "/") && !strings.Contains(s, "/") {
		s = strings.TrimPrefix(strings.TrimPrefix(s, "$"), ".")
		s = strings.ReplaceAll(brackets.ReplaceAllString(s, ".$1"), ".", "/")
	}
	s = "/" + strings.TrimPrefix(strings.TrimPrefix(s, "#"), "/")
	return looseTilde.ReplaceAllString(s, "~0$1")
}

func (d *decoder) checkValues(path string, s Source, c ingest.Channel) {
	if len(s.Values) > 0 && c.Quantity() != ingest.ModeQuantity {
		d.report(path+".values", "only mode has values to translate", "leave it out")
		return
	}
	meaning := map[string]string{}
	for _, word := range slices.Sorted(maps.Keys(s.Values)) {
		mode, at := s.Values[word], path+".values."+word
		if _, err := ingest.ParseMode(mode); err != nil {
			d.report(at, quote(mode)+" is none of "+strings.Join(ingest.Modes(), ", "), wordFix(mode, ingest.Modes()))
		}
		same := strings.ToLower(strings.TrimSpace(word))
		if other, given := meaning[same]; given && s.Values[other] != mode {
			d.report(at, fmt.Sprintf("%s and %s differ only in case and mean different modes", quote(other), quote(word)), "keep one of them")
		}
		meaning[same] = word
	}
}

// sourceOwners remembers which channel takes what: one value cannot be two
// channels, and a topic carries either a bare number or JSON.
type sourceOwners struct {
	*decoder
	values, columns map[string]ingest.Channel
	bare            map[string]bool
}

func (o *sourceOwners) check(path, id string, c ingest.Channel, s Source) {
	if other, taken := o.columns[s.Column]; taken && s.Column != "" {
		o.report(path+".column", fmt.Sprintf("%s is already the column of %s", quote(s.Column), other), "name the column of each channel")
	}
	o.columns[s.Column] = c
	if s.Column == "time" {
		o.report(path+".column", "time is the column of the times", "name the column of the values")
	}
	if s.Topic == "" && s.Pointer == "" && s.Samples == "" {
		return
	}
	topic := s.Topic
	if topic == "" {
		topic = DefaultTopic(id, c)
	}
	value, bare := fmt.Sprintf("%q %q %q", topic, s.Samples, s.Pointer), s.Pointer == ""
	other, taken := o.values[value]
	firstBare, shared := o.bare[topic]
	switch {
	case taken:
		o.report(path, fmt.Sprintf("takes the same value of %s as %s", quote(topic), other), "give each channel its own topic or pointer")
	case shared && bare != firstBare:
		o.report(path, fmt.Sprintf("another channel reads %s differently, and a topic carries either a bare number or JSON", quote(topic)), "give both a pointer or neither")
	}
	o.values[value], o.bare[topic] = c, bare
}

func (d *decoder) checkSensorPairs(r *Record) {
	if r.Metering == nil {
		return
	}
	for i, p := range r.Metering.SensorPairs {
		path := fmt.Sprintf("metering.sensor_pairs[%d]", i)
		flow, back := p.Flow.Quantity(), p.Return.Quantity()
		switch {
		case p.Flow == "" || p.Return == "":
		case flow == ingest.ReturnTemp && back == ingest.FlowTemp:
			d.report(path, fmt.Sprintf("flow is %s and return is %s", p.Flow, p.Return), "swap them")
		case flow.Unit() != ingest.DegreeCelsius || back.Unit() != ingest.DegreeCelsius:
			d.report(path, fmt.Sprintf("%s and %s are no pair of temperatures", p.Flow, p.Return), "name a flow_temp and a return_temp channel")
		case p.Flow == p.Return:
			d.report(path, "flow and return are the same channel", "name a flow_temp and a return_temp channel")
		}
	}
}

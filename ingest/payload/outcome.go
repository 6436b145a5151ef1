package payload

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/valyala/fastjson"

	"coldweek/ingest"
)

// maxDetailed is how many refusals of one message are kept one by one.
const maxDetailed = 20

// maxTopic bounds the topic a refusal repeats; MQTT allows 65,535 bytes.
const maxTopic = 256

// outcome gathers what one message gives.
type outcome struct {
	topic    string
	body     []byte
	arrived  time.Time
	readings []ingest.Reading
	rejected []ingest.Rejected
	beyond   int // refusals after maxDetailed
}

// add takes one value, or refuses it for its time.
func (o *outcome) add(site string, c ingest.Channel, t time.Time, value float64, part *fastjson.Value) {
	if err := ingest.CheckTime(t, o.arrived); err != nil {
		o.refuse(site, about(c, err), part)
		return
	}
	o.readings = append(o.readings, ingest.Reading{
		Site: site, Channel: c, Time: time.UnixMilli(t.UnixMilli()).UTC(), Value: value,
	})
}

// refuse keeps why a value is no reading, and the part of the message it came
// from; nil is the whole message.
func (o *outcome) refuse(site string, err error, part *fastjson.Value) {
	if len(o.rejected) >= maxDetailed {
		o.beyond++
		return
	}
	payload := o.body
	if part != nil {
		payload = part.MarshalTo(nil)
	}
	o.rejected = append(o.rejected, ingest.Rejected{
		Arrived: o.arrived, Site: site, Topic: o.topic[:min(len(o.topic), maxTopic)],
		Reason: reasonOf(err), Detail: err.Error(), Payload: ingest.CutPayload(payload),
	})
}

// reasonOf returns the reason for the quarantine that an error carries.
func reasonOf(err error) ingest.Reason {
	if _, ok := errors.AsType[unknownChannel](err); ok {
		return ingest.UnknownChannel
	}
	return ingest.ReasonOf(err)
}

// full says that further refusals are only counted.
func (o *outcome) full() bool { return len(o.rejected) >= maxDetailed }

// expect makes room for the readings of a message, within reason: a hostile
// one promises more than it holds.
func (o *outcome) expect(n int) { o.readings = slices.Grow(o.readings, min(n, 512)) }

// finish adds the summary of what was not kept one by one.
func (o *outcome) finish() ([]ingest.Reading, []ingest.Rejected) {
	if o.beyond > 0 {
		last := o.rejected[len(o.rejected)-1]
		o.rejected = append(o.rejected, ingest.Rejected{
			Arrived: o.arrived, Site: last.Site, Topic: last.Topic, Reason: last.Reason,
			Detail:  fmt.Sprintf("%d more values of this message were refused; only the first %d are listed", o.beyond, maxDetailed),
			Payload: ingest.CutPayload(o.body),
		})
	}
	return o.readings, o.rejected
}

func refused(reason ingest.Reason, format string, args ...any) error {
	return &ingest.RefusedError{Reason: reason, Detail: fmt.Sprintf(format, args...)}
}

package payload_test

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/site"
)

func record(id string, channels map[ingest.Channel]site.Source) *site.Record {
	return &site.Record{ID: id, TimeZone: "Europe/London", Channels: channels}
}

func newDecoder(t testing.TB, records ...*site.Record) *payload.Decoder {
	t.Helper()
	d, err := payload.NewDecoder(records)
	require.NoError(t, err)
	return d
}

func TestFilters(t *testing.T) {
	d := newDecoder(t,
		record("mill-lane-4", map[ingest.Channel]site.Source{
			"flow_temp":   {Topic: "gateway/17/state", Pointer: "/flow"},
			"return_temp": {Topic: "gateway/17/state", Pointer: "/return"},
			"pressure":    {Topic: "coldweek/mill-lane-4/gauge"},
			"power":       {Pointer: "/w"},
		}),
		record("brook-end", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "a/weather", Pointer: "/t"}}))
	assert.Equal(t, []string{"a/weather", "coldweek/#", "gateway/17/state"}, d.Filters())
	assert.Equal(t, []string{"coldweek/#"}, newDecoder(t).Filters())
}

func TestNewDecoderRefuses(t *testing.T) {
	for want, records := range map[string][]*site.Record{
		`site "a" channel "return_temp" clashes with site "a" channel "flow_temp": both read pointer "/t" of topic "x", and one value cannot be two channels of a site`: {
			record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "/t"}, "return_temp": {Topic: "x", Pointer: "#/t"}})},
		`site "b" channel "flow_temp" clashes with site "a" channel "outdoor_temp": both read pointer "/t" of topic "x", as different quantities`: {
			record("a", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "x", Pointer: "/t"}}),
			record("b", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "/t"}})},
		`in "K" and in "Cel"`: {
			record("a", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "x", Pointer: "/t"}}),
			record("b", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "x", Pointer: "/t", Unit: "K"}})},
		`with different times`: {
			record("a", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "x", Pointer: "/t"}}),
			record("b", map[ingest.Channel]site.Source{"outdoor_temp": {Topic: "x", Pointer: "/t", TimePointer: "/at"}})},
		`with different values`: {
			record("a", map[ingest.Channel]site.Source{"mode": {Topic: "x", Values: map[string]string{"1": "heating"}}}),
			record("b", map[ingest.Channel]site.Source{"mode": {Topic: "x", Values: map[string]string{"1": "off"}}})},
		`site "a" channel "power" takes topic "x" as a bare value, but site "a" channel "flow_temp" by a pointer`: {
			record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "/t"}, "power": {Topic: "x"}})},
		`both read the bare value of topic "coldweek/a/flow_temp"`: {
			record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "coldweek/a/flow_temp"}, "return_temp": {Topic: "coldweek/a/flow_temp"}})},
		`channel "flow_temp": topic "x/+/t" has a wildcard`: {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x/+/t"}})},
		`topic "$share/g/x" is a subscription`:              {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "$share/g/x"}})},
		`is none that MQTT allows`:                          {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x\x00"}})},
		`topic "coldweek/b/flow_temp" belongs to site "b"; a site's own start with coldweek/a/`: {
			record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "coldweek/b/flow_temp"}})},
		`topic "coldweek/a/senml" is for SenML packs`:                           {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "coldweek/a/senml"}})},
		`pointer "t" does not start with a slash; write "/t"`:                   {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "t"}})},
		`time_pointer: pointer "at" does not start with a slash`:                {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "/t", TimePointer: "at"}})},
		`time_pointer "/at" needs a pointer to the value too`:                   {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", TimePointer: "/at"}})},
		`time_pointer "#" is the whole sample`:                                  {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Pointer: "/t", TimePointer: "#"}})},
		`samples "/log" need a pointer and a time_pointer`:                      {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Samples: "/log", Pointer: "/t"}})},
		`samples: pointer "log" does not start with a slash`:                    {record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x", Samples: "log", Pointer: "/t", TimePointer: "/at"}})},
		`site "a" channel "power": unit "L/h" does not fit power`:               {record("a", map[ingest.Channel]site.Source{"power": {Unit: "L/h"}})},
		`site "a" channel "power": values translate modes only; power has none`: {record("a", map[ingest.Channel]site.Source{"power": {Values: map[string]string{"on": "heating"}}})},
		`site "a" channel "pwr": channel "pwr": "pwr" is no known quantity`:     {record("a", map[ingest.Channel]site.Source{"pwr": {}})},
		`site "a": there are two records with this id`:                          {record("a", nil), record("a", nil)},
	} {
		d, err := payload.NewDecoder(records)
		assert.ErrorContains(t, err, want)
		assert.Nil(t, d)
	}
}

func TestNewDecoderReportsEverySiteAtOnce(t *testing.T) {
	_, err := payload.NewDecoder([]*site.Record{
		record("a", map[ingest.Channel]site.Source{"power": {Unit: "L/h"}}),
		record("b", map[ingest.Channel]site.Source{"flow_temp": {Topic: "x/#"}}),
	})
	assert.ErrorContains(t, err, `site "a" channel "power"`)
	assert.ErrorContains(t, err, `site "b" channel "flow_temp"`)
}

func TestTooLargeAMessage(t *testing.T) {
	d := newDecoder(t, record("a", nil))
	body := append(bytes.Repeat([]byte(" "), payload.MaxBody-2), "35"...)
	readings, rejected := d.Decode("coldweek/a/flow_temp", body, arrived)
	assert.Len(t, readings, 1, "exactly the limit")
	assert.Empty(t, rejected)
	readings, rejected = d.Decode("coldweek/a/flow_temp", append(body, ' '), arrived)
	assert.Empty(t, readings)
	require.Len(t, rejected, 1)
	assert.Equal(t, ingest.TooLarge, rejected[0].Reason)
	assert.Equal(t, "a", rejected[0].Site)
	assert.Len(t, rejected[0].Payload, ingest.MaxRejectedPayload)
}

// A refusal keeps what it was about: the record for a record of a pack, the
// sample for one of many samples, else the message.
func TestRefusalKeepsItsPart(t *testing.T) {
	d := newDecoder(t, record("a", map[ingest.Channel]site.Source{
		"room_temp": {Topic: "log", Samples: "/log", Pointer: "/v", TimePointer: "/t"},
		"flow_temp": {Topic: "state", Pointer: "/flow"},
	}))
	check := func(topic, body, part string) {
		t.Helper()
		_, rejected := d.Decode(topic, []byte(body), arrived)
		require.Len(t, rejected, 1)
		assert.Equal(t, ingest.Rejected{Arrived: arrived, Site: "a", Topic: topic, Reason: ingest.ImpossibleValue,
			Detail: rejected[0].Detail, Payload: []byte(part)}, rejected[0])
	}
	check("coldweek/a/senml", `[{"n":"flow_temp","v":35},{"n":"flow_temp","v":999}]`, `{"n":"flow_temp","v":999}`)
	check("log", `{"log":[{"t":1769846400,"v":20},{"t":1769846400,"v":-999}]}`, `{"t":1769846400,"v":-999}`)
	check("state", `{"flow":999}`, `{"flow":999}`)
	check("coldweek/a/flow_temp", `999`, `999`)
}

// The bytes of a message may be used again by the client library.
func TestDecodeKeepsNoPartOfTheBody(t *testing.T) {
	d := newDecoder(t, record("a", nil))
	body := []byte(`[{"n":"room_temp/kitchen","v":20.5},{"n":"room_temp/hall","v":999},{"n":"rum_temp","v":1}]`)
	readings, rejected := d.Decode("coldweek/a/senml", body, arrived)
	copy(body, bytes.Repeat([]byte("x"), len(body)))
	again, _ := d.Decode("coldweek/a/senml", []byte(`[{"n":"room_temp/bathroom","v":23.5}]`), arrived)
	require.Len(t, readings, 1)
	assert.Equal(t, ingest.Channel("room_temp/kitchen"), readings[0].Channel)
	require.Len(t, again, 1)
	require.Len(t, rejected, 2)
	assert.Equal(t, `{"n":"room_temp/hall","v":999}`, string(rejected[0].Payload))
	assert.Contains(t, rejected[1].Detail, "rum_temp")
}

// hostile messages, as near to the size limit as they come.
func hostile() map[string][]byte {
	fill := func(open, part, end string) []byte {
		n := (payload.MaxBody - len(open) - len(end)) / len(part)
		return []byte(open + strings.Repeat(part, n) + end)
	}
	return map[string][]byte{
		"many bad records": fill(`[{"n":"x"}`, `,{"n":"sauna_power","v":1}`, `]`),
		"many bad values":  fill(`[{"n":"x"}`, `,{"n":"flow_temp","v":999}`, `]`),
		"many bad samples": fill(`{"log":[1`, `,{"v":999,"t":1}`, `]}`),
		"deep":             fill("", "[", ""),
		"deep, then wrong": fill(strings.Repeat("[", 300)+"t", "\x01", ""),
		"deep objects":     fill("", `{"a":`, ""),
		"one long number":  fill("", "9", ""),
		"one long string":  fill(`["`, `\"`, `"]`),
		"one long name":    fill(`[{"v":1,"n":"`, `room_temp/`, `"}]`),
		"one long key":     fill(`{"`, "_", `":1}`),
		"brackets in text": fill(`["`, "[", `"]`),
	}
}

func TestHostileMessagesAreBounded(t *testing.T) {
	d := newDecoder(t, record("a", map[ingest.Channel]site.Source{
		"room_temp": {Topic: "log", Samples: "/log", Pointer: "/v", TimePointer: "/t"},
	}))
	for name, body := range hostile() {
		for _, topic := range []string{"coldweek/a/senml", "log"} {
			readings, rejected := d.Decode(topic, body, arrived)
			assert.Empty(t, readings, name)
			require.NotEmpty(t, rejected, name)
			assert.LessOrEqual(t, len(rejected), 21, name)
			for _, r := range rejected {
				assert.LessOrEqual(t, len(r.Payload), ingest.MaxRejectedPayload, name)
				assert.Less(t, len(r.Detail), 1000, name)
			}
		}
	}
	_, rejected := d.Decode("coldweek/a/flow_temp", hostile()["one long number"], arrived)
	assert.Len(t, rejected, 1)
	_, rejected = d.Decode("coldweek/"+strings.Repeat("a", 60000)+"/flow_temp", []byte("35"), arrived)
	require.Len(t, rejected, 1)
	assert.Len(t, rejected[0].Topic, 256)
	assert.Empty(t, rejected[0].Site)
	assert.Less(t, len(rejected[0].Detail), 1000)
	_, rejected = d.Decode("coldweek/a/senml", hostile()["many bad values"], arrived)
	require.Len(t, rejected, 21)
	assert.Contains(t, rejected[20].Detail, "more values of this message were refused; only the first 20 are listed")
}

func TestDecodeFromManyGoroutines(t *testing.T) {
	d := newDecoder(t, record("a", map[ingest.Channel]site.Source{"flow_temp": {Topic: "state", Pointer: "/flow", TimePointer: "/t"}}))
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 200 {
				want := float64(20 + g)
				readings, rejected := d.Decode("state", fmt.Appendf(nil, `{"flow":%g,"t":%d}`, want, 1769846000+i), arrived)
				pack, _ := d.Decode("coldweek/a/senml", fmt.Appendf(nil, `[{"n":"room_temp/g%d","v":%g}]`, g, want), arrived)
				if len(rejected) > 0 || len(readings) != 1 || len(pack) != 1 {
					t.Errorf("readings %v, pack %v, rejected %v", readings, pack, rejected)
					return
				}
				assert.Equal(t, want, readings[0].Value)
				assert.Equal(t, time.Unix(int64(1769846000+i), 0).UTC(), readings[0].Time)
				assert.Equal(t, ingest.Channel(fmt.Sprintf("room_temp/g%d", g)), pack[0].Channel)
			}
		})
	}
	wg.Wait()
}

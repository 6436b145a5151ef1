package publish_test

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/rig"
	"coldweek/ingest/rig/publish"
	"coldweek/ingest/site"
)

// message is what a broker received.
type message struct {
	topic   string
	payload []byte
	qos     byte
}

// inbox is a broker on loopback that lets everybody in and keeps what it
// receives, before it acknowledges.
type inbox struct {
	broker.HookBase
	mu       sync.Mutex
	messages []message
	address  string
}

func (in *inbox) received() []message {
	in.mu.Lock()
	defer in.mu.Unlock()
	return append([]message(nil), in.messages...)
}

func (*inbox) Provides(hook byte) bool {
	return hook == broker.OnConnectAuthenticate || hook == broker.OnACLCheck || hook == broker.OnPublish
}

func (*inbox) OnConnectAuthenticate(*broker.Client, packets.Packet) bool { return true }

func (*inbox) OnACLCheck(*broker.Client, string, bool) bool { return true }

func (in *inbox) OnPublish(_ *broker.Client, pk packets.Packet) (packets.Packet, error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.messages = append(in.messages, message{pk.TopicName, append([]byte(nil), pk.Payload...), pk.FixedHeader.Qos})
	return pk, nil
}

func newInbox(t *testing.T) *inbox {
	t.Helper()
	in := &inbox{}
	s := broker.New(&broker.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	require.NoError(t, s.AddHook(in, nil))
	l := listeners.NewTCP(listeners.Config{ID: "test", Address: "127.0.0.1:0"})
	require.NoError(t, s.AddListener(l))
	require.NoError(t, s.Serve())
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	in.address = l.Address()
	return in
}

func connect(t *testing.T, address string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID("rig-" + t.Name()).SetAutoReconnect(false))
	token := c.Connect()
	require.True(t, token.WaitTimeout(5*time.Second))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(50) })
	return c
}

// anHour is an hour of the good house's readings.
func anHour(t *testing.T) (rig.Plant, []ingest.Reading) {
	t.Helper()
	p := rig.Houses()[0]
	start := time.Date(2025, 1, 10, 6, 0, 0, 0, time.UTC)
	r, err := rig.New(p, start)
	require.NoError(t, err)
	var readings []ingest.Reading
	r.Advance(start.Add(20*time.Minute), func(x ingest.Reading) { readings = append(readings, x) })
	return p, readings
}

func TestBareValuesOnTheirTopics(t *testing.T) {
	p, readings := anHour(t)
	in := newInbox(t)
	pub := publish.New(connect(t, in.address), publish.Options{Inflight: 8})
	require.NoError(t, pub.Publish(t.Context(), readings...))
	n, err := pub.Flush(t.Context())
	require.NoError(t, err)
	assert.Equal(t, len(readings), n)
	got := in.received()
	require.Len(t, got, len(readings))
	decoder, err := payload.NewDecoder([]*site.Record{p.Record()})
	require.NoError(t, err)
	for i, m := range got {
		assert.EqualValues(t, 1, m.qos)
		decoded, refused := decoder.Decode(m.topic, m.payload, readings[i].Time)
		require.Empty(t, refused)
		require.Equal(t, []ingest.Reading{readings[i]}, decoded)
	}
}

// Source: RFC 8428, as read by the decoder of the other end.
func TestSenMLPacksCarryTimesAndUnits(t *testing.T) {
	p, readings := anHour(t)
	for i, r := range readings {
		readings[i].Time = r.Time.Add(time.Duration(r.Time.Unix()/10%3) * 125 * time.Millisecond)
	}
	in := newInbox(t)
	pub := publish.New(connect(t, in.address), publish.Options{Format: publish.SenML, Batch: 30})
	require.NoError(t, pub.Publish(t.Context(), readings...))
	assert.Less(t, pub.Acknowledged(), len(readings), "the last pack waits")
	n, err := pub.Flush(t.Context())
	require.NoError(t, err)
	assert.Equal(t, len(readings), n)
	decoder, err := payload.NewDecoder([]*site.Record{p.Record()})
	require.NoError(t, err)
	var decoded []ingest.Reading
	for _, m := range in.received() {
		assert.Equal(t, "coldweek/orchard-house/senml", m.topic)
		require.True(t, json.Valid(m.payload))
		some, refused := decoder.Decode(m.topic, m.payload, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))
		require.Empty(t, refused)
		decoded = append(decoded, some...)
	}
	require.Len(t, decoded, len(readings))
	for i, r := range readings {
		assert.True(t, r.Time.Equal(decoded[i].Time), "%v became %v", r, decoded[i])
		assert.InDelta(t, r.Value, decoded[i].Value, 1e-12)
		assert.Equal(t, r.Channel, decoded[i].Channel)
	}
	assert.Len(t, in.received(), 4, "120 times, 30 in a message")
}

func TestGarbageSpoilsOnlyItself(t *testing.T) {
	p, _ := anHour(t)
	at := time.Date(2025, 1, 10, 6, 0, 0, 0, time.UTC)
	reading := func(c ingest.Channel, v float64) ingest.Reading {
		return ingest.Reading{Site: p.ID, Channel: c, Time: at, Value: v}
	}
	in := newInbox(t)
	pub := publish.New(connect(t, in.address), publish.Options{Format: publish.SenML})
	require.NoError(t, pub.Publish(t.Context(), reading("power", math.NaN()), reading("flow_temp", 35), reading("flow_rate", math.Inf(1)), reading("mode", 1e12)))
	_, err := pub.Flush(t.Context())
	require.NoError(t, err)
	decoder, err := payload.NewDecoder([]*site.Record{p.Record()})
	require.NoError(t, err)
	m := in.received()[0]
	good, refused := decoder.Decode(m.topic, m.payload, at)
	assert.Equal(t, []ingest.Reading{reading("flow_temp", 35)}, good)
	assert.Len(t, refused, 3)
}

// A broker that goes away takes nothing with it that was counted.
func TestUnacknowledgedIsSentAgain(t *testing.T) {
	_, readings := anHour(t)
	in := newInbox(t)
	client := connect(t, in.address)
	pub := publish.New(client, publish.Options{Inflight: 4, Retry: 5 * time.Millisecond})
	half := len(readings) / 2
	require.NoError(t, pub.Publish(t.Context(), readings[:half]...))
	client.Disconnect(0)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	n, err := pub.Flush(ctx)
	if err != nil { // acknowledgements may have won the race with the end of the connection
		require.ErrorIs(t, err, context.DeadlineExceeded)
		assert.Less(t, n, half)
	}
	require.Eventually(t, func() bool { // refused while the end of the connection is still under way
		token := client.Connect()
		return token.WaitTimeout(5*time.Second) && token.Error() == nil
	}, 10*time.Second, 5*time.Millisecond)
	require.NoError(t, pub.Publish(t.Context(), readings[half:]...))
	n, err = pub.Flush(t.Context())
	require.NoError(t, err)
	assert.Equal(t, len(readings), n)
	seen := map[string]int{}
	for _, m := range in.received() {
		seen[m.topic]++
	}
	for topic, count := range seen {
		channel := ingest.Channel(strings.TrimPrefix(topic, "coldweek/orchard-house/"))
		sent := 0
		for _, r := range readings {
			if r.Channel == channel {
				sent++
			}
		}
		assert.GreaterOrEqual(t, count, sent, topic)
	}
}

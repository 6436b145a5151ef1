package notify_test

import (
	"encoding/json"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/receive/brokertest"
)

// board is what someone sees who listens below a topic: the last of each.
type board struct {
	mu    sync.Mutex
	shows map[string]string
	seen  []string // topics, in order
}

func listen(t *testing.T, address, filter string) *board {
	t.Helper()
	b := &board{shows: map[string]string{}}
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(address).SetClientID("board").SetCleanSession(false).SetMaxReconnectInterval(100 * time.Millisecond))
	require.True(t, client.Connect().WaitTimeout(10*time.Second))
	t.Cleanup(func() { client.Disconnect(100) })
	require.True(t, client.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.shows[m.Topic()] = string(m.Payload())
		b.seen = append(b.seen, m.Topic())
	}).WaitTimeout(10*time.Second))
	return b
}

func (b *board) on(topic string) (string, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	payload, ok := b.shows[topic]
	return payload, ok
}

func TestATopicShowsWhatIsOpen(t *testing.T) {
	broker := brokertest.Start(t, brokertest.Durable)
	g := ada()
	g.EMail, g.Topic = nil, "firm/findings"
	d := open(t, g)
	d.options.Broker = &deliver.Broker{URL: broker.URL()}
	d.restart()
	d.now = time.Date(2026, 1, 14, 23, 0, 0, 0, london) // in quiet hours: it is a state, no call
	cold := curveHigh(d.now)
	cold.Kind = "room_cold/kit+chen#1"
	d.put(lowFlow(d.now), cold, curveHigh(d.now))
	d.step()
	b := listen(t, broker.URL(), "firm/findings/#") // after the fact: retained
	const flow, room, curve = "firm/findings/mill-cottage/low_flow", "firm/findings/mill-cottage/room_cold/kit_chen_1", "firm/findings/mill-cottage/curve_high"
	shows := func(topic, title string) {
		t.Helper()
		require.Eventually(t, func() bool {
			var e notify.Event
			text, _ := b.on(topic)
			return json.Unmarshal([]byte(text), &e) == nil && e.Title == title
		}, 20*time.Second, 5*time.Millisecond)
	}
	cleared := func(topic string) {
		t.Helper()
		require.Eventually(t, func() bool { text, seen := b.on(topic); return seen && text == "" }, 20*time.Second, 5*time.Millisecond)
	}
	shows(flow, lowFlow(d.now).Title)
	shows(room, cold.Title)
	shows(curve, cold.Title)

	broker.Stop()
	d.put(ended(cold, d.now.Add(time.Minute)), at("never-told", "", ended(cold, d.now.Add(time.Minute))))
	worse := raised(curveHigh(d.now))
	worse.Title = "Heating curve 9 K higher than the rooms need"
	d.put(worse)
	d.until(d.now.Add(time.Hour))
	broker.Resume()
	d.until(d.now.Add(time.Hour))
	cleared(room)
	cleared("firm/findings/never-told/room_cold/kit_chen_1")
	shows(curve, worse.Title)
	shows(flow, lowFlow(d.now).Title)

	require.NoError(t, d.Test(t.Context(), "")[0].Err)
	require.Eventually(t, func() bool { text, _ := b.on("firm/findings/test"); return text != "" }, 20*time.Second, 5*time.Millisecond)
}

package notify_test

import (
	"encoding/json"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/dashboards/notify"
	"coldweek/dashboards/notify/deliver"
	"coldweek/ingest/receive/brokertest"
	"coldweek/ingest/store"
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

// openTopic opens a desk whose one engineer has a topic below firm/findings alone.
func openTopic(t *testing.T) (*desk, *brokertest.Mosquitto) {
	t.Helper()
	broker := brokertest.Start(t, brokertest.Durable)
	g := ada()
	g.EMail, g.Topic = nil, "firm/findings"
	d := open(t, g)
	d.options.Broker = &deliver.Broker{URL: broker.URL()}
	d.restart()
	return d, broker
}

func TestATopicShowsWhatIsOpen(t *testing.T) {
	d, broker := openTopic(t)
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

// TestTheEndOfOneFindingHidesNoOther: later readings move the beginning of a
// finding, which then is another of the same kind, and the first is withdrawn.
func TestTheEndOfOneFindingHidesNoOther(t *testing.T) {
	d, broker := openTopic(t)
	b := listen(t, broker.URL(), "firm/findings/#")
	const topic, mark = "firm/findings/mill-cottage/low_flow", "firm/findings/mark/low_flow"
	// step has the board show all that was put until now: the mark comes last.
	step := func(marked time.Time) string {
		t.Helper()
		d.put(at("mark", "", lowFlow(marked)))
		d.step()
		var e notify.Event
		require.Eventually(t, func() bool {
			text, _ := b.on(mark)
			return json.Unmarshal([]byte(text), &e) == nil && e.Since.Equal(marked)
		}, 20*time.Second, 5*time.Millisecond)
		text, _ := b.on(topic)
		return text
	}
	sinceOf := func(text string) time.Time {
		t.Helper()
		var e notify.Event
		require.NoError(t, json.Unmarshal([]byte(text), &e))
		return e.Since.In(london)
	}
	first, earlier := lowFlow(d.now), lowFlow(d.now.Add(-time.Hour))
	d.put(first)
	assert.Equal(t, first.Since, sinceOf(step(d.now)))
	d.put(earlier, ended(first, first.Since))
	assert.Equal(t, earlier.Since, sinceOf(step(d.now.Add(time.Minute))), "it is open still")
	d.put(ended(earlier, d.now))
	assert.Empty(t, step(d.now.Add(2*time.Minute)), "none is open")
	d.put(earlier)
	assert.Equal(t, earlier.Since, sinceOf(step(d.now.Add(150*time.Second))), "it had not ended after all")
	d.put(ended(earlier, d.now.Add(time.Minute)))
	assert.Empty(t, step(d.now.Add(160*time.Second)), "none is open")

	d.put(lowFlow(d.now.Add(time.Hour)))
	step(d.now.Add(3 * time.Minute))
	d.act(store.Mute, "low_flow", d.now.Add(24*time.Hour))
	d.put(lowFlow(d.now.Add(2*time.Hour)), ended(lowFlow(d.now.Add(time.Hour)), d.now.Add(2*time.Hour)))
	assert.Empty(t, step(d.now.Add(4*time.Minute)), "what is muted does not come to the topic that way either")
}

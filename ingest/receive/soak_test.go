package receive_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/receive/brokertest"
	"coldweek/ingest/store"
)

// soak is how the stream is run. COLDWEEK_SOAK=10m makes it the acceptance
// run: 20 sites at 1 Hz for ten minutes.
type soak struct {
	length, every time.Duration
	sites, kills  int
}

func soakFromEnvironment(t *testing.T) soak {
	text := os.Getenv("COLDWEEK_SOAK")
	if text == "" {
		if testing.Short() {
			t.Skip("takes half a minute")
		}
		return soak{length: 20 * time.Second, every: 200 * time.Millisecond, sites: 20, kills: 10}
	}
	length, err := time.ParseDuration(text)
	require.NoError(t, err, "COLDWEEK_SOAK")
	return soak{length: length, every: time.Second, sites: 20, kills: 10}
}

// The channels of the SenML pack, besides the bare number on room_temp.
var packChannels = []ingest.Channel{"flow_temp", "return_temp", "outdoor_temp", "flow_rate", "power", "heat_output", "pressure", "room_temp/hall"}

// streamBegins is the first second of the stream's own clock.
var streamBegins = time.Date(2024, 1, 14, 0, 0, 0, 0, time.UTC)

func streamPack(i int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `[{"bt":%d,"n":"flow_temp","u":"Cel","v":%g}`, streamBegins.Unix()+int64(i), 30+float64(i%100)/10)
	for n, c := range packChannels[1:] {
		fmt.Fprintf(&b, `,{"n":%q,"v":%g}`, c, float64(n)+float64(i%100)/100)
	}
	return b.String() + "]"
}

// bareNumber is different for each of 9,000 messages and no impossible
// temperature.
func bareNumber(i int) string { return fmt.Sprintf("%.3f", 10+float64(i)/1000) }

// TestNothingIsLostOrDoubled is the acceptance run: Mosquitto carries the
// stream, the ingester is killed with SIGKILL ten times and the broker
// restarted once, and afterwards every reading published is in the store, once.
func TestNothingIsLostOrDoubled(t *testing.T) {
	run := soakFromEnvironment(t)
	broker := brokertest.Start(t, brokertest.Durable)
	p := plan{URL: broker.URL(), ClientID: "ingester", Dir: t.TempDir()}
	houses := p.settle(t, run.sites)

	steps := int(run.length / run.every)
	ingester := p.start(t)
	pace := time.NewTicker(run.every)
	defer pace.Stop()
	for i := range steps {
		<-pace.C
		p.publishStep(houses, i)
		if each := steps / run.kills; i%each == each/2 {
			time.Sleep(rand.N(20 * time.Millisecond)) // somewhere between receiving and acknowledging
			ingester.kill()
			ingester = p.start(t)
		}
		if i == steps/2 {
			broker.Stop()
			broker.Resume()
		}
	}
	store := openStore(t, p)
	assert.Eventually(t, func() bool { return arrived(t, store, p, steps) }, time.Minute, 100*time.Millisecond)
	ingester.stop()
	report(t, store, p, steps)
}

// settle adds sites to the plan and makes the ingester's session; it returns
// what the sites publish with.
func (p *plan) settle(t *testing.T, sites int) []mqtt.Client {
	t.Helper()
	var houses []mqtt.Client
	for i := range sites {
		p.Sites = append(p.Sites, fmt.Sprintf("house-%02d", i))
		houses = append(houses, house(t, p.URL, p.Sites[i]))
	}
	subscribeFirst(t, *p)
	return houses
}

// publishStep has every house publish a pack and a bare number.
func (p plan) publishStep(houses []mqtt.Client, i int) {
	for n, client := range houses {
		client.Publish("coldweek/"+p.Sites[n]+"/senml", 1, false, streamPack(i))
		client.Publish("coldweek/"+p.Sites[n]+"/room_temp", 1, false, bareNumber(i))
	}
}

// subscribeFirst makes the ingester's session, so that the broker queues from
// the first message on.
func subscribeFirst(t *testing.T, p plan) {
	t.Helper()
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(p.URL).SetClientID(p.ClientID).SetCleanSession(false))
	require.True(t, client.Connect().WaitTimeout(within))
	require.True(t, client.Subscribe("coldweek/#", 1, nil).WaitTimeout(within))
	client.Disconnect(100)
}

// arrived says whether every pack and each last bare number is there.
func arrived(t *testing.T, store store.Readings, p plan, steps int) bool {
	t.Helper()
	for _, id := range p.Sites {
		for _, c := range packChannels {
			if scan(t, store, id, c).Len() < steps {
				return false
			}
		}
		bare := scan(t, store, id, "room_temp")
		if bare.Len() == 0 || fmt.Sprintf("%.3f", bare.Value[bare.Len()-1]) != bareNumber(steps-1) {
			return false
		}
	}
	return true
}

// report prints the count table and checks it.
func report(t *testing.T, store store.Store, p plan, steps int) {
	t.Helper()
	t.Logf("%-16s %10s %10s %10s %10s", "channel", "published", "stored", "missing", "doubled")
	for _, c := range append(slices.Clone(packChannels), "room_temp") {
		stored, missing, doubled := 0, 0, 0
		for _, id := range p.Sites {
			column := scan(t, store, id, c)
			stored += column.Len()
			m, d := compare(column, steps)
			missing, doubled = missing+m, doubled+d
		}
		t.Logf("%-16s %10d %10d %10d %10d", c, len(p.Sites)*steps, stored, missing, doubled)
		assert.Zero(t, missing, "%s", c)
		assert.Zero(t, doubled, "%s", c)
		assert.Equal(t, len(p.Sites)*steps, stored, "%s", c)
	}
	counts, err := store.RefusalCounts(t.Context())
	require.NoError(t, err)
	assert.Empty(t, counts, "nothing went to quarantine")
}

// compare counts the messages of which a column holds nothing, and readings
// beyond one a message. A reading of the pack is known by its time, a bare
// number by its value.
func compare(column ingest.Column, steps int) (missing, doubled int) {
	seen := make(map[string]int)
	for i, ms := range column.UnixMS {
		if column.Channel == "room_temp" {
			seen[fmt.Sprintf("%.3f", column.Value[i])]++
		} else {
			seen[time.UnixMilli(ms).UTC().Format(time.RFC3339)]++
		}
	}
	for i := range steps {
		key := streamBegins.Add(time.Duration(i) * time.Second).Format(time.RFC3339)
		if column.Channel == "room_temp" {
			key = bareNumber(i)
		}
		switch n := seen[key]; {
		case n == 0:
			missing++
		default:
			doubled += n - 1
		}
	}
	return missing, doubled
}

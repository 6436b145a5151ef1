package broker_test

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/broker"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store/local"
)

const (
	mill, forge   = "mill-lane-4", "old-forge"
	millPassword  = "seven frosty mornings"
	forgePassword = "anvil anvil anvil"
	within        = 10 * time.Second // generous: nothing is timed here
	tick          = 5 * time.Millisecond
)

// station is a broker with intake and store, as the program has them.
type station struct {
	t      *testing.T
	broker *broker.Broker
	intake *receive.Intake
	store  *local.Store
	sink   *faulty
	logins *broker.Logins
	log    *logbook
	stop   func() // the broker; the intake ends with the test
}

// faulty is the real store with a switch for errors and one for delay.
type faulty struct {
	*local.Store
	err  atomic.Pointer[error]
	wait atomic.Int64 // ns
}

func (f *faulty) trouble() error {
	time.Sleep(time.Duration(f.wait.Load()))
	if err := f.err.Load(); err != nil {
		return *err
	}
	return nil
}

func (f *faulty) Append(ctx context.Context, batch []ingest.Reading) (int64, error) {
	if err := f.trouble(); err != nil {
		return 0, err
	}
	return f.Store.Append(ctx, batch)
}

func (f *faulty) Refuse(ctx context.Context, items []ingest.Rejected) error {
	if err := f.trouble(); err != nil {
		return err
	}
	return f.Store.Refuse(ctx, items)
}

// logbook keeps what is logged at Info and above.
type logbook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (l *logbook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logbook) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func newStation(t *testing.T, change func(*broker.Options)) *station {
	t.Helper()
	dir := t.TempDir()
	s := &station{t: t, log: &logbook{}}
	logger := slog.New(slog.NewTextHandler(s.log, nil))
	var err error
	s.logins, err = broker.ReadLogins(filepath.Join(dir, "logins.yaml"))
	require.NoError(t, err)
	s.logins.SetCost(4)
	require.NoError(t, s.logins.Set(mill, millPassword))
	require.NoError(t, s.logins.Set(forge, forgePassword))
	s.store, err = local.Open(t.Context(), filepath.Join(dir, "readings.db"), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.store.Close()) })
	s.sink = &faulty{Store: s.store}
	decoder, err := payload.NewDecoder([]*site.Record{{ID: mill, TimeZone: "Europe/London"}, {ID: forge, TimeZone: "Europe/London"}})
	require.NoError(t, err)
	s.intake, err = receive.NewIntake(receive.Options{Sink: s.sink, Decoder: decoder, Logger: logger})
	require.NoError(t, err)
	options := broker.Options{Listen: "127.0.0.1:0", Logins: s.logins, Intake: s.intake, Logger: logger}
	if change != nil {
		change(&options)
	}
	s.broker, err = broker.New(options)
	require.NoError(t, err)
	s.run()
	return s
}

// run starts broker and intake; the end of the test stops them in the order
// of the data.
func (s *station) run() {
	for _, part := range []func(context.Context) error{s.intake.Run, s.broker.Run} {
		ctx, cancel := context.WithCancel(context.Background())
		stopped := make(chan struct{})
		go func() {
			defer close(stopped)
			assert.NoError(s.t, part(ctx))
		}()
		s.stop = func() { cancel(); <-stopped }
		s.t.Cleanup(s.stop)
	}
}

func (s *station) options(user, password, clientID string) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().
		AddBroker("tcp://" + s.broker.Addr().String()).
		SetProtocolVersion(4).
		SetClientID(clientID).
		SetUsername(user).
		SetPassword(password).
		SetConnectTimeout(within).
		SetAutoReconnect(false)
}

func (s *station) connect(options *mqtt.ClientOptions) mqtt.Client {
	s.t.Helper()
	client := mqtt.NewClient(options)
	token := client.Connect()
	require.True(s.t, token.WaitTimeout(within), "no CONNACK")
	require.NoError(s.t, token.Error())
	s.t.Cleanup(func() { client.Disconnect(0) })
	return client
}

func (s *station) mill() mqtt.Client { return s.connect(s.options(mill, millPassword, "gateway")) }

func publish(t *testing.T, client mqtt.Client, qos byte, topic, text string) {
	t.Helper()
	token := client.Publish(topic, qos, false, text)
	require.True(t, token.WaitTimeout(within), "no acknowledgement of %s", topic)
	require.NoError(t, token.Error())
}

// values returns what the store holds of a channel.
func (s *station) values(id string, c ingest.Channel) []float64 {
	s.t.Helper()
	columns, err := s.store.Scan(s.t.Context(), id, []ingest.Channel{c}, time.Unix(0, 0), time.Now().Add(time.Hour))
	require.NoError(s.t, err)
	return columns[0].Value
}

func (s *station) refusals() []string {
	s.t.Helper()
	refused, err := s.store.Refusals(s.t.Context(), 1000)
	require.NoError(s.t, err)
	texts := make([]string, len(refused))
	for i, r := range refused {
		texts[i] = fmt.Sprintf("%s %s %s %s", r.Site, r.Topic, r.Reason, r.Payload)
	}
	return texts
}

// pack is a SenML pack (RFC 8428) of one temperature with its own time.
func pack(second int, value float64) string {
	return fmt.Sprintf(`[{"n":"flow_temp","u":"Cel","t":%d,"v":%g}]`, 1_705_212_000+second, value)
}

func TestAcknowledgedMeansInTheStore(t *testing.T) {
	s := newStation(t, nil)
	for qos := range byte(3) {
		client := s.connect(s.options(mill, millPassword, fmt.Sprint("gateway", qos)))
		publish(t, client, qos, "coldweek/"+mill+"/senml", pack(int(qos), 35+float64(qos)))
		if qos > 0 {
			assert.Contains(t, s.values(mill, "flow_temp"), 35+float64(qos), "QoS %d", qos)
		}
	}
	assert.Eventually(t, func() bool { return len(s.values(mill, "flow_temp")) == 3 }, within, tick, "QoS 0 comes too")
}

func TestNoAcknowledgementWhileTheStoreFails(t *testing.T) {
	s := newStation(t, nil)
	full := fmt.Errorf("disk full")
	s.sink.err.Store(&full)
	client := s.mill()
	var tokens []mqtt.Token
	for i := range 50 { // more than one under way at a time
		tokens = append(tokens, client.Publish("coldweek/"+mill+"/senml", byte(1), false, pack(i, 30)))
	}
	require.Eventually(t, func() bool { return s.intake.Stats().Failures > 0 && s.broker.Stats().Messages == 50 }, within, tick)
	other := s.connect(s.options(forge, forgePassword, "gateway"))
	assert.True(t, other.IsConnectionOpen(), "others can connect meanwhile")
	for i, token := range tokens {
		assert.False(t, token.WaitTimeout(0), "message %d is acknowledged", i)
	}
	s.sink.err.Store(nil)
	for _, token := range tokens {
		require.True(t, token.WaitTimeout(within))
		require.NoError(t, token.Error())
	}
	assert.Len(t, s.values(mill, "flow_temp"), 50)
	assert.Zero(t, s.broker.Stats().Unkept)
}

func TestUnkeptMessageEndsTheConnectionAndComesAgain(t *testing.T) {
	s := newStation(t, func(o *broker.Options) { o.Window, o.Patience = 1, 50*time.Millisecond })
	full := fmt.Errorf("disk full")
	s.sink.err.Store(&full)
	options := s.options(mill, millPassword, "gateway").SetCleanSession(false).SetAutoReconnect(true).SetMaxReconnectInterval(100 * time.Millisecond)
	client := s.connect(options)
	client.Publish("coldweek/"+mill+"/senml", byte(1), false, pack(1, 31))
	client.Publish("coldweek/"+mill+"/senml", byte(1), false, pack(2, 32)) // beyond the window
	require.Eventually(t, func() bool { return s.broker.Stats().Unkept > 0 }, within, tick)
	s.sink.err.Store(nil)
	// The client completes a token also when it sends the message again, so
	// tokens tell nothing here.
	assert.Eventually(t, func() bool { return slices.Equal([]float64{31, 32}, s.values(mill, "flow_temp")) }, within, tick)
}

func TestStopAcknowledgesWhatWasAccepted(t *testing.T) {
	s := newStation(t, nil)
	client := s.mill()
	s.sink.wait.Store(int64(100 * time.Millisecond))
	var tokens []mqtt.Token
	for i := range 20 {
		tokens = append(tokens, client.Publish("coldweek/"+mill+"/senml", byte(1), false, pack(i, 30)))
	}
	require.Eventually(t, func() bool { return s.broker.Stats().Messages == 20 }, within, tick)
	s.stop()
	for i, token := range tokens {
		require.True(t, token.WaitTimeout(within))
		assert.NoError(t, token.Error(), "message %d", i)
	}
	assert.Len(t, s.values(mill, "flow_temp"), 20)
}

func TestBlockedClientDoesNotStopOthers(t *testing.T) {
	s := newStation(t, func(o *broker.Options) { o.Window = 1 })
	s.sink.wait.Store(int64(20 * time.Millisecond))
	busy := s.mill()
	for i := range 200 { // 200 commits of 20 ms stand in its own way only
		busy.Publish("coldweek/"+mill+"/senml", byte(1), false, pack(i, 30))
	}
	other := s.connect(s.options(forge, forgePassword, "gateway"))
	publish(t, other, 1, "coldweek/"+forge+"/senml", pack(0, 40))
	assert.Less(t, len(s.values(mill, "flow_temp")), 200, "the busy client is not done yet")
}

func TestSiteWritesItsOwnTopicsOnly(t *testing.T) {
	s := newStation(t, func(o *broker.Options) {
		o.Allowed = func(id, topic string) bool { return id == mill && topic == "tele/mill/SENSOR" }
	})
	client := s.mill()
	for qos := range byte(3) {
		publish(t, client, qos, "coldweek/"+forge+"/power", "1200")
	}
	publish(t, client, 1, "coldweek/"+mill, "1")
	publish(t, client, 1, "coldweek/"+mill+"-annexe/power", "2")
	publish(t, client, 1, "tele/mill/SENSOR", "3") // allowed; the decoder does not know it
	publish(t, client, 1, "coldweek/"+mill+"/power", "900")
	assert.Empty(t, s.values(forge, "power"))
	assert.Equal(t, []float64{900}, s.values(mill, "power"))
	assert.ElementsMatch(t, []string{
		mill + " coldweek/" + forge + "/power unknown_topic 1200",
		mill + " coldweek/" + forge + "/power unknown_topic 1200",
		mill + " coldweek/" + forge + "/power unknown_topic 1200",
		mill + " coldweek/" + mill + " unknown_topic 1",
		mill + " coldweek/" + mill + "-annexe/power unknown_topic 2",
		" tele/mill/SENSOR unknown_topic 3",
	}, s.refusals())
	assert.EqualValues(t, 5, s.broker.Stats().ForeignTopics)
}

func TestNobodyReads(t *testing.T) {
	s := newStation(t, nil)
	client := s.mill()
	got := make(chan string, 10)
	for _, filter := range []string{"#", "$SYS/#", "coldweek/" + mill + "/#", "$share/g/#"} {
		token := client.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) { got <- m.Topic() })
		require.True(t, token.WaitTimeout(within))
		for _, code := range token.(*mqtt.SubscribeToken).Result() {
			assert.EqualValues(t, 0x80, code, "SUBACK of %s (MQTT 3.1.1, 3.9.3: 0x80 is failure)", filter)
		}
	}
	retained := client.Publish("coldweek/"+mill+"/power", 1, true, "800")
	require.True(t, retained.WaitTimeout(within))
	publish(t, client, 1, "coldweek/"+mill+"/power", "900")
	assert.Empty(t, got)
}

func TestWillObeysTheLogin(t *testing.T) {
	s := newStation(t, nil)
	die := func(topic, text string) {
		options := s.options(mill, millPassword, "dying "+topic).SetWill(topic, text, 1, true)
		conn := dialer{}
		options.SetCustomOpenConnectionFn(conn.open)
		s.connect(options)
		conn.cut()
	}
	die("coldweek/"+forge+"/power", "666")
	die("coldweek/"+mill+"/mode", "off")
	require.Eventually(t, func() bool { return len(s.values(mill, "mode")) == 1 }, within, tick)
	require.Eventually(t, func() bool { return s.broker.Stats().Clients == 0 }, within, tick)
	assert.Empty(t, s.values(forge, "power"))
	assert.Contains(t, s.log.String(), "last will")
}

func TestWrongLogin(t *testing.T) {
	s := newStation(t, nil)
	for _, wrong := range [][2]string{
		{mill, "guess"}, {mill, forgePassword}, {mill, ""}, {"nobody", millPassword}, {"", ""},
		{mill, strings.Repeat("x", 100)},
	} {
		token := mqtt.NewClient(s.options(wrong[0], wrong[1], "x")).Connect()
		require.True(t, token.WaitTimeout(within))
		assert.ErrorIs(t, token.Error(), packets.ErrorRefusedNotAuthorised, "%q", wrong)
	}
	assert.EqualValues(t, 6, s.broker.Stats().WrongLogins)
	assert.Contains(t, s.log.String(), "wrong user name or password")
	assert.NotContains(t, s.log.String(), millPassword)
}

func TestClientIDsCountWithinALogin(t *testing.T) {
	s := newStation(t, nil)
	own := s.mill()
	s.connect(s.options(forge, forgePassword, "gateway")) // the same client id
	publish(t, own, 1, "coldweek/"+mill+"/power", "900")
	assert.True(t, own.IsConnectionOpen(), "another site cannot take the session over")
}

func TestOversizePacketEndsTheConnection(t *testing.T) {
	s := newStation(t, func(o *broker.Options) { o.MaxPacket = 1000 })
	client := s.mill()
	token := client.Publish("coldweek/"+mill+"/senml", 1, false, strings.Repeat(" ", 2000))
	require.True(t, token.WaitTimeout(within))
	assert.Error(t, token.Error())
	assert.Eventually(t, func() bool { return strings.Contains(s.log.String(), "larger than allowed") }, within, tick)
	publish(t, s.mill(), 1, "coldweek/"+mill+"/power", "900")
}

func TestTooManyConnectionsWithOneLogin(t *testing.T) {
	s := newStation(t, func(o *broker.Options) { o.MaxPerLogin = 2 })
	s.connect(s.options(mill, millPassword, "a"))
	s.connect(s.options(mill, millPassword, "b"))
	token := mqtt.NewClient(s.options(mill, millPassword, "c")).Connect()
	require.True(t, token.WaitTimeout(within))
	assert.Error(t, token.Error())
	s.connect(s.options(forge, forgePassword, "a"))
}

func TestFloodOfUnknownTopics(t *testing.T) {
	s := newStation(t, nil)
	client := s.mill()
	var last mqtt.Token
	for i := range 1000 {
		last = client.Publish(fmt.Sprintf("coldweek/%s/nonsense/%d", mill, i), 1, false, "1")
	}
	require.True(t, last.WaitTimeout(within))
	publish(t, client, 1, "coldweek/"+mill+"/power", "900")
	assert.Equal(t, []float64{900}, s.values(mill, "power"))
	counts, err := s.store.RefusalCounts(t.Context())
	require.NoError(t, err)
	require.Len(t, counts, 1)
	assert.EqualValues(t, 1000, counts[0].Total)
}

func TestRemovedLoginIsDisconnected(t *testing.T) {
	s := newStation(t, nil)
	client := s.mill()
	stays := s.connect(s.options(forge, forgePassword, "gateway"))
	other, err := broker.ReadLogins(s.logins.Path()) // as another process does
	require.NoError(t, err)
	require.NoError(t, other.Remove(mill))
	assert.Eventually(t, func() bool { return !client.IsConnectionOpen() }, within, tick)
	token := mqtt.NewClient(s.options(mill, millPassword, "gateway")).Connect()
	require.True(t, token.WaitTimeout(within))
	assert.Error(t, token.Error())
	assert.True(t, stays.IsConnectionOpen())
}

func TestRepeatedBareNumberIsOneReading(t *testing.T) {
	s := newStation(t, nil)
	conn := &dialer{}
	conn.deafen.Store(true) // PUBACKs get lost
	options := s.options(mill, millPassword, "gateway").SetCleanSession(false).
		SetAutoReconnect(true).SetMaxReconnectInterval(50 * time.Millisecond).SetCustomOpenConnectionFn(conn.open)
	client := s.connect(options)
	client.Publish("coldweek/"+mill+"/power", 1, false, "900")
	require.Eventually(t, func() bool { return len(s.values(mill, "power")) == 1 }, within, tick)
	conn.deafen.Store(false)
	conn.cut()
	require.Eventually(t, func() bool { return s.intake.Stats().Messages == 2 }, within, tick, "sent again after the reconnect")
	assert.Equal(t, []float64{900}, s.values(mill, "power"), "at its first arrival, once")
}

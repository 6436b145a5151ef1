package receive_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
)

const (
	within = 20 * time.Second // generous: nothing is timed here
	tick   = 5 * time.Millisecond
)

// plan says what an ingester does, in this process or in one of its own.
type plan struct {
	URL, ClientID, Group string
	Dir                  string // of the store and the memory of arrivals
	Sites                []string
	Influx               string // address of InfluxDB, where readings go by way of the journal; "" for the file
}

func (p plan) storePath() string { return filepath.Join(p.Dir, "readings.db") }

func (p plan) decoder() (*payload.Decoder, error) {
	var records []*site.Record
	for _, id := range p.Sites {
		records = append(records, &site.Record{ID: id, TimeZone: "Europe/London"})
	}
	return payload.NewDecoder(records)
}

// run is an ingester as the program wires it.
func (p plan) run(ctx context.Context, logger *slog.Logger) error {
	store, err := p.open(ctx, logger)
	if err != nil {
		return err
	}
	decoder, err := p.decoder()
	if err != nil {
		return err
	}
	intake, err := receive.NewIntake(receive.Options{Sink: store, Decoder: decoder, Logger: logger})
	if err != nil {
		return err
	}
	subscriber, err := receive.NewSubscriber(receive.SubscriberOptions{
		URL: p.URL, ClientID: p.ClientID, SharedGroup: p.Group, Filters: decoder.Filters(),
		Intake: intake, Logger: logger, ArrivalsFile: filepath.Join(p.Dir, "arrivals"),
	})
	if err != nil {
		return err
	}
	stopped, forwarded := make(chan error, 1), make(chan error, 1)
	intaking, stop := context.WithCancel(context.WithoutCancel(ctx))
	go func() { stopped <- intake.Run(intaking) }()
	go func() { forwarded <- store.forward(ctx) }()
	err = subscriber.Run(ctx)
	stop()
	return errors.Join(err, <-stopped, <-forwarded, store.close())
}

// kept is where readings rest.
type kept struct {
	store.Store
	close   func() error
	forward func(ctx context.Context) error
}

const database = "soak"

func (p plan) open(ctx context.Context, logger *slog.Logger) (kept, error) {
	file, err := local.Open(ctx, p.storePath(), local.Options{})
	if err != nil || p.Influx == "" {
		return kept{file, file.Close, func(context.Context) error { return nil }}, err
	}
	waiting, err := journal.Open(ctx, filepath.Join(p.Dir, "journal.db"), journal.Options{})
	if err != nil {
		return kept{}, errors.Join(err, file.Close())
	}
	st, err := influx.Open(ctx, influx.Options{
		URL: p.Influx, Bucket: database, Journal: waiting, Quarantine: file, Logger: logger, LongestPause: time.Second,
	})
	if err != nil {
		return kept{}, errors.Join(err, waiting.Close(), file.Close())
	}
	close := func() error { return errors.Join(st.Close(), waiting.Close(), file.Close()) }
	return kept{st, close, st.Forward}, nil
}

// planVariable makes the test binary an ingester.
const planVariable = "COLDWEEK_TEST_INGESTER"

func TestMain(m *testing.M) {
	if text := os.Getenv(planVariable); text != "" {
		os.Exit(ingesterMain(text))
	}
	os.Exit(m.Run())
}

func ingesterMain(text string) int {
	var p plan
	if err := json.Unmarshal([]byte(text), &p); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	if err := p.run(ctx, slog.New(slog.NewTextHandler(os.Stderr, nil))); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// process is an ingester that can be killed.
type process struct {
	t      testing.TB
	cmd    *exec.Cmd
	exited chan error
}

func (p plan) start(t testing.TB) *process {
	t.Helper()
	text, err := json.Marshal(p)
	require.NoError(t, err)
	log, err := os.OpenFile(filepath.Join(p.Dir, "ingester.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(t, err)
	defer func() { _ = log.Close() }()
	proc := &process{t: t, cmd: exec.Command(os.Args[0]), exited: make(chan error, 1)}
	proc.cmd.Env = append(os.Environ(), planVariable+"="+string(text))
	proc.cmd.Stdout, proc.cmd.Stderr = log, log
	require.NoError(t, proc.cmd.Start())
	go func() { proc.exited <- proc.cmd.Wait() }()
	t.Cleanup(func() { _ = proc.cmd.Process.Kill() })
	return proc
}

func (p *process) kill() {
	require.NoError(p.t, p.cmd.Process.Kill())
	<-p.exited
}

func (p *process) stop() {
	p.t.Helper()
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(p.t, <-p.exited, "a stop by SIGTERM is clean")
}

// scan returns the readings of a channel.
func scan(t testing.TB, from store.Readings, id string, c ingest.Channel) ingest.Column {
	t.Helper()
	columns, err := from.Scan(context.Background(), id, []ingest.Channel{c}, time.Unix(0, 0), time.Now().Add(time.Hour))
	require.NoError(t, err)
	return columns[0]
}

func openStore(t testing.TB, p plan) *local.Store {
	t.Helper()
	store, err := local.Open(t.Context(), p.storePath(), local.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, store.Close()) })
	return store
}

// house publishes as a careful gateway does: QoS 1, a session that is kept,
// and its own memory of what is not acknowledged yet.
func house(t testing.TB, url, id string) mqtt.Client {
	t.Helper()
	client := mqtt.NewClient(mqtt.NewClientOptions().
		AddBroker(url).
		SetProtocolVersion(4).
		SetClientID("house-" + id).
		SetCleanSession(false).
		SetAutoReconnect(true).
		SetMaxReconnectInterval(500 * time.Millisecond).
		SetConnectRetry(true).
		SetConnectRetryInterval(200 * time.Millisecond))
	token := client.Connect()
	require.True(t, token.WaitTimeout(within))
	require.NoError(t, token.Error())
	t.Cleanup(func() { client.Disconnect(100) })
	return client
}

func publish(t testing.TB, client mqtt.Client, topic, text string) {
	t.Helper()
	token := client.Publish(topic, 1, false, text)
	require.True(t, token.WaitTimeout(within))
	require.NoError(t, token.Error())
}

// logbook keeps what is logged.
type logbook struct {
	mu   sync.Mutex
	text []byte
}

func (l *logbook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text = append(l.text, p...)
	return len(p), nil
}

func (l *logbook) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(slices.Clone(l.text))
}

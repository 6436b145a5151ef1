package broker_test

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coldweek/ingest"
	"coldweek/ingest/broker"
	"coldweek/ingest/payload"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
	"coldweek/ingest/store/influx"
	"coldweek/ingest/store/influx/influxtest"
	"coldweek/ingest/store/journal"
	"coldweek/ingest/store/local"
)

// heedless acknowledges everything and keeps nothing: what the broker alone
// can do.
type heedless struct{}

func (heedless) Submit(_ context.Context, _ receive.Message, done func(error)) error {
	done(nil)
	return nil
}

func (heedless) Refuse(context.Context, ingest.Rejected) error { return nil }

// BenchmarkEndToEnd sends SenML packs of 8 readings with QoS 1 from many
// clients: to a broker that keeps nothing, to one that acknowledges from the
// file, and to one that acknowledges from the journal and forwards to InfluxDB
// at the same time. It reports messages a second of each and their ratio to the
// first, and of the last also how many a second have arrived in InfluxDB when
// the journal is empty again; the parameter is how many messages a client has
// under way.
func BenchmarkEndToEnd(b *testing.B) {
	for _, load := range []struct{ clients, window int }{{100, 1}, {100, 10}, {1, 200}} {
		b.Run(fmt.Sprintf("clients=%d/window=%d", load.clients, load.window), func(b *testing.B) {
			for b.Loop() {
				const messages = 40_000
				idle := measure(b, heedless{}, load.clients, load.window, messages)
				kept := measure(b, storing(b, load.clients), load.clients, load.window, messages)
				intake, drain := forwarding(b, load.clients)
				began := time.Now()
				sent := measure(b, intake, load.clients, load.window, messages)
				drain()
				b.ReportMetric(idle, "idle-msg/s")
				b.ReportMetric(kept, "kept-msg/s")
				b.ReportMetric(kept/idle, "kept/idle")
				b.ReportMetric(sent, "influx-msg/s")
				b.ReportMetric(sent/idle, "influx/idle")
				b.ReportMetric(messages/time.Since(began).Seconds(), "arrived-msg/s")
			}
		})
	}
}

func benchSite(i int) string { return fmt.Sprintf("house-%03d", i) }

func storing(b *testing.B, sites int) *receive.Intake {
	store, err := local.Open(context.Background(), filepath.Join(b.TempDir(), "readings.db"), local.Options{})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, store.Close()) })
	return intakeTo(b, store, sites)
}

// forwarding returns an intake into the journal, from which a real InfluxDB is
// written all the time, and what waits until it is all there.
func forwarding(b *testing.B, sites int) (*receive.Intake, func()) {
	server := influxtest.Start(b)
	server.CreateDatabase("bench")
	file, err := local.Open(context.Background(), filepath.Join(b.TempDir(), "readings.db"), local.Options{})
	require.NoError(b, err)
	waiting, err := journal.Open(context.Background(), filepath.Join(b.TempDir(), "journal.db"), journal.Options{})
	require.NoError(b, err)
	store, err := influx.Open(context.Background(), influx.Options{URL: server.URL(), Bucket: "bench", Journal: waiting, Quarantine: file})
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(context.Background())
	stopped := make(chan error, 1)
	go func() { stopped <- store.Forward(ctx) }()
	b.Cleanup(func() {
		cancel()
		require.NoError(b, <-stopped)
		require.NoError(b, errors.Join(store.Close(), waiting.Close(), file.Close()))
	})
	return intakeTo(b, store, sites), func() { require.NoError(b, store.Drain(context.Background(), nil)) }
}

func intakeTo(b *testing.B, sink receive.Sink, sites int) *receive.Intake {
	var records []*site.Record
	for i := range sites {
		records = append(records, &site.Record{ID: benchSite(i), TimeZone: "Europe/London"})
	}
	decoder, err := payload.NewDecoder(records)
	require.NoError(b, err)
	intake, err := receive.NewIntake(receive.Options{Sink: sink, Decoder: decoder, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(context.Background())
	stopped := make(chan error, 1)
	go func() { stopped <- intake.Run(ctx) }()
	b.Cleanup(func() {
		cancel()
		require.NoError(b, <-stopped)
	})
	return intake
}

// measure returns messages a second.
func measure(b *testing.B, intake broker.Intake, clients, window, messages int) float64 {
	logins, err := broker.ReadLogins(filepath.Join(b.TempDir(), "logins.yaml"))
	require.NoError(b, err)
	logins.SetCost(4)
	for i := range clients {
		require.NoError(b, logins.Set(benchSite(i), millPassword))
	}
	br, err := broker.New(broker.Options{Listen: "127.0.0.1:0", Logins: logins, Intake: intake, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(context.Background())
	stopped := make(chan error, 1)
	go func() { stopped <- br.Run(ctx) }()
	senders := make([]*sender, clients)
	for i := range senders {
		senders[i] = newSender(b, br.Addr().String(), benchSite(i))
	}
	var left atomic.Int64
	left.Store(int64(messages))
	var done sync.WaitGroup
	began := time.Now()
	for _, s := range senders {
		done.Go(func() { s.send(&left, window) })
	}
	done.Wait()
	rate := float64(messages) / time.Since(began).Seconds()
	cancel()
	require.NoError(b, <-stopped)
	return rate
}

// sender is a client as quick as can be, so that the broker is what is
// measured.
type sender struct {
	b      *testing.B
	conn   net.Conn
	in     *bufio.Reader
	topic  string
	packet []byte
	sent   int
}

func newSender(b *testing.B, address, id string) *sender {
	conn, err := net.Dial("tcp", address)
	require.NoError(b, err)
	b.Cleanup(func() { _ = conn.Close() })
	s := &sender{b: b, conn: conn, in: bufio.NewReader(conn), topic: "coldweek/" + id + "/senml"}
	body := field(nil, "MQTT")
	body = append(body, 4, 0b11000010, 0, 60) // 3.1.1; user name, password, clean session; keep-alive
	body = field(field(field(body, id), id), millPassword)
	_, err = conn.Write(append([]byte{0x10, byte(len(body))}, body...))
	require.NoError(b, err)
	connack := make([]byte, 4)
	_, err = io.ReadFull(s.in, connack)
	require.NoError(b, err)
	require.Equal(b, []byte{0x20, 2, 0, 0}, connack)
	return s
}

func field(to []byte, text string) []byte {
	return append(binary.BigEndian.AppendUint16(to, uint16(len(text))), text...)
}

// send keeps a window of messages under way until none is left.
func (s *sender) send(left *atomic.Int64, window int) {
	underWay := 0
	puback := make([]byte, 4)
	for {
		var batch []byte
		for underWay < window && left.Add(-1) >= 0 {
			batch = append(batch, s.next()...)
			underWay++
		}
		if underWay == 0 {
			return
		}
		if len(batch) > 0 {
			if _, err := s.conn.Write(batch); err != nil {
				s.b.Error(err)
				return
			}
		}
		for first := true; underWay > 0 && (first || s.in.Buffered() >= len(puback)); first = false {
			if _, err := io.ReadFull(s.in, puback); err != nil {
				s.b.Error(err)
				return
			}
			underWay--
		}
	}
}

// next returns a PUBLISH packet with 8 readings of a second of its own.
func (s *sender) next() []byte {
	s.sent++
	body := field(nil, s.topic)
	body = binary.BigEndian.AppendUint16(body, uint16(s.sent%60_000+1))
	body = append(body, `[{"bt":`...)
	body = strconv.AppendInt(body, 1_705_212_000+int64(s.sent), 10)
	body = append(body, `,"n":"flow_temp","v":35.2},{"n":"return_temp","v":30.1},{"n":"outdoor_temp","v":-3.5},{"n":"flow_rate","v":1100},`...)
	body = append(body, `{"n":"power","v":1850},{"n":"heat_output","v":6400},{"n":"room_temp","v":20.6},{"n":"pressure","v":1.6}]`...)
	s.packet = append(s.packet[:0], 0x32)
	s.packet = binary.AppendUvarint(s.packet, uint64(len(body))) // the same as MQTT's remaining length
	s.packet = append(s.packet, body...)
	return s.packet
}

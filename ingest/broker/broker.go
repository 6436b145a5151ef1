package broker

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"

	"coldweek/ingest"
	"coldweek/ingest/receive"
)

// Intake makes messages durable; *receive.Intake is one.
type Intake interface {
	// Submit calls done once, from any goroutine, when the message is on disk
	// or is known not to be.
	Submit(ctx context.Context, m receive.Message, done func(error)) error
	// Refuse returns when the message is in quarantine, on disk.
	Refuse(ctx context.Context, r ingest.Rejected) error
}

// Options configure a Broker. Logins, Intake and Logger are required.
type Options struct {
	Listen string // host:port; 127.0.0.1:1883 when empty

	TLSCertFile, TLSKeyFile string // PEM; no TLS when empty

	Logins *Logins
	Intake Intake
	Logger *slog.Logger
	Now    func() time.Time // time.Now when nil

	// Allowed says whether a site may write a topic outside
	// coldweek/<site>/, because its record maps it. It is called from many
	// goroutines; nil allows none.
	Allowed func(site, topic string) bool

	// ArrivalsFile keeps the memory of arrivals (see receive.Arrivals); in
	// memory only when empty.
	ArrivalsFile string

	MaxClients  int           // 2,000 when 0
	MaxPerLogin int           // connections with one login; 20 when 0
	MaxPacket   uint32        // bytes of an MQTT packet; 2 MiB when 0
	MaxIdle     time.Duration // longest keep-alive, also for clients that ask for none; 1 h when 0

	// Window is how many messages of one client may be on their way to the
	// disk; beyond it the client is not read from.
	Window int // 1,000 when 0

	// Patience is how long a client is held when the intake is full before
	// its connection is closed, to send again later.
	Patience time.Duration // 15 s when 0
}

const (
	defaultListen      = "127.0.0.1:1883"
	defaultMaxClients  = 2000
	defaultMaxPerLogin = 20
	defaultMaxPacket   = 2 << 20 // decoders read 1 MiB; a larger payload is quarantined, not cut off
	defaultMaxIdle     = time.Hour
	defaultWindow      = 1000
	defaultPatience    = 15 * time.Second

	// sessionKept is how long the broker remembers a client that left: only
	// which of its QoS 2 messages are half done.
	sessionKept = time.Hour

	// refreshEvery is how often logins and certificate are looked at.
	refreshEvery = 2 * time.Second
)

// Stats counts what a Broker did since it began.
type Stats struct {
	Clients       int   // connected now
	Messages      int64 // handed to the intake
	Unkept        int64 // not kept, so the sender's connection was closed
	WrongLogins   int64
	ForeignTopics int64 // messages to topics their login may not write
}

// Broker listens for MQTT clients.
type Broker struct {
	opts        Options
	logger      *slog.Logger
	seldom      *seldom
	server      *mqtt.Server
	listener    net.Listener
	certificate *certificate
	arrivals    *receive.Arrivals

	work context.Context // of messages on their way; set by Run, whose own ends before

	messages, unkept, wrongLogins, foreignTopics atomic.Int64

	mu      sync.Mutex
	links   map[*mqtt.Client]*link
	closing bool
	busy    sync.WaitGroup // messages between publish and acknowledgement
}

// New checks the options and starts to listen; Run serves.
func New(opts Options) (*Broker, error) {
	if opts.Logins == nil || opts.Intake == nil || opts.Logger == nil {
		return nil, errors.New("broker needs logins, an intake and a logger")
	}
	opts = withDefaults(opts)
	b := &Broker{
		opts:   opts,
		logger: opts.Logger,
		seldom: newSeldom(opts.Logger, opts.Now),
		links:  map[*mqtt.Client]*link{},
	}
	var err error
	if b.certificate, err = readCertificate(opts.TLSCertFile, opts.TLSKeyFile); err != nil {
		return nil, err
	}
	if b.arrivals, err = receive.OpenArrivals(opts.ArrivalsFile, arrivalsPerClient, opts.Logger); err != nil {
		return nil, err
	}
	if err := b.listen(); err != nil {
		return nil, errors.Join(err, b.arrivals.Close())
	}
	if err := b.newServer(); err != nil {
		return nil, errors.Join(err, b.listener.Close(), b.arrivals.Close())
	}
	if opts.Logins.Exposed() {
		b.logger.Warn("others may read the file of logins: chmod 600", "path", opts.Logins.path)
	}
	return b, nil
}

// arrivalsPerClient is how many messages of a client are remembered in case
// they come again.
const arrivalsPerClient = 16

func withDefaults(o Options) Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Allowed == nil {
		o.Allowed = func(string, string) bool { return false }
	}
	o.Listen = cmp.Or(o.Listen, defaultListen)
	o.MaxClients = cmp.Or(o.MaxClients, defaultMaxClients)
	o.MaxPerLogin = cmp.Or(o.MaxPerLogin, defaultMaxPerLogin)
	o.MaxPacket = cmp.Or(o.MaxPacket, uint32(defaultMaxPacket))
	o.MaxIdle = min(cmp.Or(o.MaxIdle, defaultMaxIdle), 18*time.Hour) // MQTT's own limit
	o.Window = cmp.Or(o.Window, defaultWindow)
	o.Patience = cmp.Or(o.Patience, defaultPatience)
	return o
}

func (b *Broker) listen() error {
	inner, err := net.Listen("tcp", b.opts.Listen)
	if err != nil {
		return fmt.Errorf("listen for MQTT on %q: %w", b.opts.Listen, err)
	}
	// A client that comes back before its old connection is known to be dead
	// needs room, too.
	most := int64(b.opts.MaxClients) + int64(b.opts.MaxClients)/4 + 16
	b.listener = &gate{Listener: inner, logger: b.logger, most: most, within: connectWithin}
	if b.certificate != nil {
		b.listener = tls.NewListener(b.listener, b.certificate.config())
	} else {
		b.warnIfOpen(inner.Addr())
	}
	return nil
}

func (b *Broker) warnIfOpen(address net.Addr) {
	if tcp, ok := address.(*net.TCPAddr); ok && tcp.IP.IsLoopback() {
		return
	}
	b.logger.Warn("the MQTT broker can be reached from other machines without encryption: passwords can be read on the way; give it a TLS certificate and key", "listen", address.String())
}

// Addr returns the address it listens on.
func (b *Broker) Addr() net.Addr { return b.listener.Addr() }

// Stats returns the counts so far.
func (b *Broker) Stats() Stats {
	return Stats{
		Clients:       int(atomic.LoadInt64(&b.server.Info.ClientsConnected)),
		Messages:      b.messages.Load(),
		Unkept:        b.unkept.Load(),
		WrongLogins:   b.wrongLogins.Load(),
		ForeignTopics: b.foreignTopics.Load(),
	}
}

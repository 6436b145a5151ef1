package receive

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Submitter takes messages and tells when they are on disk; *Intake is one.
type Submitter interface {
	Submit(ctx context.Context, m Message, done func(error)) error
}

// SubscriberOptions configure a Subscriber. URL, ClientID, Filters, Intake and
// Logger are required.
type SubscriberOptions struct {
	URL      string // tcp://, ssl://, ws:// or wss://host:port
	ClientID string // fixed: the broker keeps the queue under this name

	Username     string
	PasswordFile string // its first line; read at every connection

	CAFile            string // PEM; the system's authorities when empty
	CertFile, KeyFile string // client certificate, PEM

	// SharedGroup, when set, makes this one of several ingesters that divide
	// the stream ($share/<group>/<filter>). Tried with Mosquitto 2.0.11:
	// messages are dealt out in turn to every session of the group, also to
	// one whose client is away; what it was given, acknowledged or not,
	// waits in its queue for it to come back and is not given to the others.
	// (With clean sessions, which this package does not use, what a member
	// had not acknowledged when it went away was lost.) So each member needs
	// a name of its own that outlives it, as the pods of a StatefulSet have.
	// To take one away for good, end its subscription first and let it empty
	// its queue; else its share waits for ever.
	SharedGroup string

	Filters []string // topic filters to subscribe to
	Intake  Submitter
	Logger  *slog.Logger
	Now     func() time.Time // time.Now when nil

	// ArrivalsFile keeps the memory of arrivals (see Arrivals); in memory
	// only when empty.
	ArrivalsFile string

	KeepAlive time.Duration // 30 s when 0

	// Buffer is how many messages are held before the intake takes them. At
	// least the broker's window of unacknowledged messages, or the
	// connection stalls, and after a while drops, when the store does.
	Buffer int // 8,192 when 0
}

const (
	defaultKeepAlive = 30 * time.Second
	defaultBuffer    = 8192

	connectTimeout   = 10 * time.Second
	subscribeTimeout = 30 * time.Second
	farewellTimeout  = 15 * time.Second // for what is accepted, at a stop

	firstReconnect = 500 * time.Millisecond
	lastReconnect  = 30 * time.Second
	steadyAfter    = 10 * time.Second // a connection that lasts so long was a good one
)

// SubscriberStats counts what a Subscriber did since it began.
type SubscriberStats struct {
	Connected   bool
	Connections int64
	Received    int64 // messages, repeated ones included
	Repeated    int64 // with the DUP flag
	Buffered    int   // received, not yet taken by the intake
}

// Subscriber receives messages from a broker over a persistent session and
// acknowledges each after its commit.
//
// The client library is given no message store of its own and every
// connection a new client. So an acknowledgement goes out on the connection
// that brought its message or not at all: on a later one, the broker might
// have given the packet identifier to another message, and would forget that
// one. A message whose acknowledgement came too late is delivered again,
// which is harmless.
type Subscriber struct {
	opts     SubscriberOptions
	address  *url.URL
	tls      *tls.Config
	arrivals *Arrivals

	inbox chan mqtt.Message
	acks  ackQueue

	connected   atomic.Bool
	connections atomic.Int64
	received    atomic.Int64
	repeated    atomic.Int64

	mu      sync.Mutex
	filters []string
	changed chan struct{} // filters differ from what is subscribed
}

// NewSubscriber checks the options; Run connects.
func NewSubscriber(opts SubscriberOptions) (*Subscriber, error) {
	address, err := parseAddress(opts.URL)
	if err != nil {
		return nil, err
	}
	config, err := tlsConfig(address, opts.CAFile, opts.CertFile, opts.KeyFile)
	if err != nil {
		return nil, err
	}
	switch {
	case opts.ClientID == "":
		return nil, errors.New("subscriber needs a client id: the broker keeps unacknowledged messages under it")
	case opts.Intake == nil || opts.Logger == nil:
		return nil, errors.New("subscriber needs an intake and a logger")
	case opts.PasswordFile != "" && opts.Username == "":
		return nil, errors.New("a broker password needs a user name")
	}
	if _, err := readPassword(opts.PasswordFile); err != nil {
		return nil, err
	}
	if opts.Now == nil {
		opts.Now = time.Now
	}
	opts.KeepAlive = cmp.Or(opts.KeepAlive, defaultKeepAlive)
	opts.Buffer = cmp.Or(opts.Buffer, defaultBuffer)
	arrivals, err := OpenArrivals(opts.ArrivalsFile, OneSession, opts.Logger)
	if err != nil {
		return nil, err
	}
	s := &Subscriber{
		opts:     opts,
		address:  address,
		tls:      config,
		arrivals: arrivals,
		inbox:    make(chan mqtt.Message, opts.Buffer),
		acks:     ackQueue{wake: make(chan struct{}, 1)},
		changed:  make(chan struct{}, 1),
	}
	s.SetFilters(opts.Filters)
	return s, nil
}

// SetFilters replaces the topic filters; a live connection is told at once.
func (s *Subscriber) SetFilters(filters []string) {
	wanted := slices.Clone(filters)
	if s.opts.SharedGroup != "" {
		for i, f := range wanted {
			wanted[i] = "$share/" + s.opts.SharedGroup + "/" + f
		}
	}
	slices.Sort(wanted)
	s.mu.Lock()
	s.filters = slices.Compact(wanted)
	s.mu.Unlock()
	select {
	case s.changed <- struct{}{}:
	default:
	}
}

func (s *Subscriber) wanted() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.filters
}

// Stats returns the counts so far.
func (s *Subscriber) Stats() SubscriberStats {
	return SubscriberStats{
		Connected:   s.connected.Load(),
		Connections: s.connections.Load(),
		Received:    s.received.Load(),
		Repeated:    s.repeated.Load(),
		Buffered:    len(s.inbox),
	}
}

// Run receives until ctx ends, connecting again whenever the connection is
// lost. Before it returns, what the intake accepted is acknowledged; what it
// did not stays with the broker.
func (s *Subscriber) Run(ctx context.Context) error {
	var workers sync.WaitGroup
	feeding, acking := ctx, make(chan struct{})
	workers.Go(func() { s.feed(feeding) })
	workers.Go(func() { s.acks.work(acking) })
	pause := firstReconnect
	for ctx.Err() == nil {
		began := time.Now()
		err := s.session(ctx)
		if ctx.Err() != nil {
			break
		}
		if time.Since(began) >= steadyAfter {
			pause = firstReconnect
		}
		s.opts.Logger.Warn("no connection to the broker, trying again", "broker", s.address.Redacted(), "pause", pause, "error", err)
		select {
		case <-ctx.Done():
		case <-time.After(jitter(pause)):
		}
		pause = min(2*pause, lastReconnect)
	}
	close(acking)
	workers.Wait()
	return s.arrivals.Close()
}

// feed hands messages to the intake, in order.
func (s *Subscriber) feed(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case m := <-s.inbox:
			s.submit(ctx, m)
		}
	}
}

func (s *Subscriber) submit(ctx context.Context, m mqtt.Message) {
	message := Message{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained()}
	message.Arrived = s.arrivals.First(s.opts.ClientID, m.MessageID(), m.Duplicate(), message, s.opts.Now())
	s.acks.expect()
	err := s.opts.Intake.Submit(ctx, message, func(err error) { s.acks.settle(m, err) })
	if err != nil {
		s.acks.settle(m, err)
	}
}

// receive is called by the client library, one message at a time.
func (s *Subscriber) receive(ctx context.Context, m mqtt.Message) {
	s.received.Add(1)
	if m.Duplicate() {
		s.repeated.Add(1)
	}
	select {
	case s.inbox <- m:
	case <-ctx.Done(): // unacknowledged, so the broker keeps it
	}
}

package receive

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// session is one connection: from connecting to its loss or the end of ctx.
func (s *Subscriber) session(ctx context.Context) error {
	lost := make(chan error, 1)
	options, err := s.clientOptions(ctx, lost)
	if err != nil {
		return err
	}
	client := mqtt.NewClient(options)
	resumed, err := s.connect(ctx, client)
	if err != nil {
		return err
	}
	s.connected.Store(true)
	s.connections.Add(1)
	defer s.connected.Store(false)
	began := time.Now()
	err = s.follow(ctx, client, resumed, lost)
	if ctx.Err() != nil {
		s.acks.finish(farewellTimeout)
	}
	client.Disconnect(uint(time.Second / time.Millisecond))
	if err != nil && time.Since(began) < steadyAfter {
		err = fmt.Errorf("%w (so soon after connecting: does another process use client id %q?)", err, s.opts.ClientID)
	}
	return err
}

func (s *Subscriber) clientOptions(ctx context.Context, lost chan<- error) (*mqtt.ClientOptions, error) {
	password, err := readPassword(s.opts.PasswordFile)
	if err != nil {
		return nil, err
	}
	return mqtt.NewClientOptions().
		AddBroker(s.address.String()).
		SetProtocolVersion(4).
		SetClientID(s.opts.ClientID).
		SetUsername(s.opts.Username).
		SetPassword(password).
		SetTLSConfig(s.tls).
		SetCleanSession(false).
		SetStore(forgetful{}).
		SetOrderMatters(true).
		SetAutoAckDisabled(true).
		SetAutoReconnect(false).
		SetConnectTimeout(connectTimeout).
		SetKeepAlive(s.opts.KeepAlive).
		SetPingTimeout(s.opts.KeepAlive / 2).
		SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { s.receive(ctx, m) }).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err }), nil
}

func (s *Subscriber) connect(ctx context.Context, client mqtt.Client) (resumed bool, err error) {
	token := client.Connect().(*mqtt.ConnectToken)
	select {
	case <-ctx.Done():
		client.Disconnect(0)
		return false, ctx.Err()
	case <-token.Done():
	}
	err = token.Error()
	if errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword) || errors.Is(err, packets.ErrorRefusedNotAuthorised) {
		return false, fmt.Errorf("the broker refuses user %q: check user name and password file: %w", s.opts.Username, err)
	}
	if err != nil {
		return false, fmt.Errorf("connect to %s: %w", s.address.Redacted(), err)
	}
	return token.SessionPresent(), nil
}

// follow keeps the subscriptions as wanted until the connection is lost. All
// are made anew at the start: what the session holds may be from another
// configuration.
func (s *Subscriber) follow(ctx context.Context, client mqtt.Client, resumed bool, lost <-chan error) error {
	var have []string
	for {
		if wanted := s.wanted(); have == nil || !slices.Equal(have, wanted) {
			if err := s.renew(ctx, client, have, wanted); err != nil {
				return err
			}
			have = wanted
			s.opts.Logger.Info("subscribed", "broker", s.address.Redacted(), "client", s.opts.ClientID, "filters", len(have), "session_resumed", resumed)
		}
		select {
		case <-ctx.Done():
			return nil
		case err := <-lost:
			return fmt.Errorf("connection lost: %w", err)
		case <-s.changed:
		}
	}
}

// filtersAtOnce keeps SUBSCRIBE packets small.
const filtersAtOnce = 200

// renew ends the subscriptions no longer wanted and makes the new ones.
func (s *Subscriber) renew(ctx context.Context, client mqtt.Client, have, wanted []string) error {
	gone := slices.DeleteFunc(slices.Clone(have), func(f string) bool { return slices.Contains(wanted, f) })
	for chunk := range slices.Chunk(gone, filtersAtOnce) {
		if err := finish(ctx, client.Unsubscribe(chunk...)); err != nil {
			return fmt.Errorf("unsubscribe from %q: %w", chunk, err)
		}
	}
	fresh := slices.DeleteFunc(slices.Clone(wanted), func(f string) bool { return slices.Contains(have, f) })
	for chunk := range slices.Chunk(fresh, filtersAtOnce) {
		if err := s.subscribe(ctx, client, chunk); err != nil {
			return err
		}
	}
	return nil
}

func (s *Subscriber) subscribe(ctx context.Context, client mqtt.Client, filters []string) error {
	atLeastOnce := make(map[string]byte, len(filters))
	for _, f := range filters {
		atLeastOnce[f] = 1
	}
	token := client.SubscribeMultiple(atLeastOnce, nil)
	if err := finish(ctx, token); err != nil {
		return fmt.Errorf("subscribe to %q: %w", filters, err)
	}
	refused := 0
	for f, granted := range token.(*mqtt.SubscribeToken).Result() {
		if granted > 2 {
			refused++
			s.opts.Logger.Error("the broker refuses a subscription: give this user the right to read it", "filter", f, "user", s.opts.Username)
		}
	}
	if refused == len(filters) {
		return fmt.Errorf("subscribe to %q: all refused", filters)
	}
	return nil
}

func finish(ctx context.Context, token mqtt.Token) error {
	select {
	case <-ctx.Done():
		return nil
	case <-token.Done():
		return token.Error()
	case <-time.After(subscribeTimeout):
		return fmt.Errorf("no answer within %v", subscribeTimeout)
	}
}

// ackQueue sends acknowledgements from a goroutine of its own, since the
// network may be slow and the committer must not be. It also counts what is
// still to come, for a clean stop.
type ackQueue struct {
	wake chan struct{}

	mu      sync.Mutex
	ready   []mqtt.Message
	pending int           // expected and not acknowledged yet
	idle    chan struct{} // closed when pending reaches 0, when someone waits
}

// expect announces a message that settle will be called for.
func (q *ackQueue) expect() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.pending++
}

// settle ends the wait for a message, acknowledging it when err is nil.
func (q *ackQueue) settle(m mqtt.Message, err error) {
	if err != nil {
		q.ended(1)
		return
	}
	q.mu.Lock()
	q.ready = append(q.ready, m)
	q.mu.Unlock()
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

func (q *ackQueue) ended(n int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.pending -= n
	if q.pending == 0 && q.idle != nil {
		close(q.idle)
		q.idle = nil
	}
}

// work acknowledges until stop is closed.
func (q *ackQueue) work(stop <-chan struct{}) {
	for {
		select {
		case <-stop:
			return
		case <-q.wake:
		}
		q.mu.Lock()
		ready := q.ready
		q.ready = nil
		q.mu.Unlock()
		for _, m := range ready {
			m.Ack()
		}
		q.ended(len(ready))
	}
}

// finish waits until nothing is pending, or for the limit.
func (q *ackQueue) finish(limit time.Duration) {
	q.mu.Lock()
	idle := make(chan struct{})
	if q.pending == 0 {
		close(idle)
	} else {
		q.idle = idle
	}
	q.mu.Unlock()
	select {
	case <-idle:
	case <-time.After(limit):
	}
}

// forgetful is a message store that keeps nothing: the broker redelivers, and
// a subscriber has nothing to send that must outlive a connection.
type forgetful struct{}

func (forgetful) Open()                             {}
func (forgetful) Put(string, packets.ControlPacket) {}
func (forgetful) Get(string) packets.ControlPacket  { return nil }
func (forgetful) All() []string                     { return nil }
func (forgetful) Del(string)                        {}
func (forgetful) Close()                            {}
func (forgetful) Reset()                            {}

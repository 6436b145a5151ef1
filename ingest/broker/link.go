package broker

import (
	"context"
	"errors"
	"fmt"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"coldweek/ingest"
	"coldweek/ingest/receive"
	"coldweek/ingest/site"
)

// link is one connection's messages on their way to the disk. Answers are
// written by a goroutine of the link, in the order of the commits, which is
// that of the messages: neither the committer nor other clients wait for a
// client that does not read.
type link struct {
	broker *Broker
	client *mqtt.Client
	window chan struct{} // one for each message under way

	mu      sync.Mutex
	answers []answer
	writing bool
}

// answer is what becomes of a message: an acknowledgement, or the end of the
// connection when it was not kept.
type answer struct {
	id   uint16 // 0 when none is expected
	code packets.Code
	err  error
	told func() // to be called when it was given
}

var errClosing = errors.New("the broker is closing")

// link returns the client's link; only its reading goroutine asks.
func (b *Broker) link(client *mqtt.Client) *link {
	b.mu.Lock()
	defer b.mu.Unlock()
	l, ok := b.links[client]
	if !ok {
		l = &link{broker: b, client: client, window: make(chan struct{}, b.opts.Window)}
		b.links[client] = l
	}
	return l
}

// begin announces a message unless the broker is closing.
func (b *Broker) begin() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closing {
		return false
	}
	b.busy.Add(1)
	return true
}

// take brings a message to the intake; settle is called once, when it is on
// disk or known not to be, and sees to it that told is called. It returns
// when the next message may be read.
func (l *link) take(m receive.Message, settle func(answer)) {
	b := l.broker
	if !b.begin() {
		settle(answer{err: errClosing, told: func() {}})
		return
	}
	ctx, cancel := context.WithTimeout(b.work, b.opts.Patience)
	defer cancel()
	select {
	case l.window <- struct{}{}:
	case <-ctx.Done():
		settle(answer{err: fmt.Errorf("wait for %d earlier messages: %w", cap(l.window), ctx.Err()), told: b.busy.Done})
		return
	}
	finish := func(a answer) {
		<-l.window
		a.told = b.busy.Done
		settle(a)
	}
	user := string(l.client.Properties.Username)
	if !b.mayWrite(user, m.Topic) {
		b.foreignTopics.Add(1)
		b.seldom.warn("topic "+user, "a message to a topic its login may not write went to quarantine", "login", user, "topic", m.Topic)
		finish(answer{code: packets.ErrNotAuthorized, err: b.opts.Intake.Refuse(ctx, foreign(user, m))})
		return
	}
	b.messages.Add(1)
	if err := b.opts.Intake.Submit(ctx, m, func(err error) { finish(answer{err: err}) }); err != nil {
		finish(answer{err: err})
	}
}

// mayWrite says whether a login may write a topic.
func (b *Broker) mayWrite(user, topic string) bool {
	own := site.TopicPrefix(user)
	return (len(topic) > len(own) && topic[:len(own)] == own) || b.opts.Allowed(user, topic)
}

func foreign(user string, m receive.Message) ingest.Rejected {
	return ingest.Rejected{
		Arrived: m.Arrived,
		Site:    user,
		Topic:   m.Topic,
		Reason:  ingest.UnknownTopic,
		Detail:  fmt.Sprintf("login %q may write below %s and to the topics its site record maps, not here", user, site.TopicPrefix(user)),
		Payload: ingest.CutPayload(m.Payload),
	}
}

// answer queues what the client is to be told.
func (l *link) answer(a answer) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.answers = append(l.answers, a)
	if !l.writing {
		l.writing = true
		go l.write()
	}
}

// write tells the client until nothing is left to tell.
func (l *link) write() {
	for {
		l.mu.Lock()
		answers := l.answers
		l.answers = nil
		l.writing = len(answers) > 0
		l.mu.Unlock()
		if len(answers) == 0 {
			return
		}
		for _, a := range answers {
			l.tell(a)
			a.told()
		}
	}
}

func (l *link) tell(a answer) {
	if a.err != nil {
		l.hangUp(a.err)
		return
	}
	if a.id == 0 {
		return
	}
	err := l.client.WritePacket(packets.Packet{
		FixedHeader: packets.FixedHeader{Type: packets.Puback},
		PacketID:    a.id,
		ReasonCode:  a.code.Code,
	})
	if err != nil {
		l.client.Stop(err)
	}
}

// hangUp closes the connection: no other answer makes a client send again.
func (l *link) hangUp(err error) {
	b := l.broker
	b.unkept.Add(1)
	if !errors.Is(err, errClosing) {
		b.seldom.warn("unkept", "a message was not kept; its sender is disconnected, to send it again", "login", string(l.client.Properties.Username), "error", err)
	}
	if l.client.Properties.ProtocolVersion == 5 {
		_ = b.server.DisconnectClient(l.client, packets.ErrServerUnavailable)
		return
	}
	l.client.Stop(err)
}

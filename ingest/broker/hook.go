package broker

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"coldweek/ingest/receive"
)

// hook is how the broker library asks us.
type hook struct {
	mqtt.HookBase
	broker *Broker
}

func (h *hook) ID() string { return "coldweek" }

func (h *hook) Provides(b byte) bool {
	return bytes.IndexByte([]byte{
		mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnSessionEstablish, mqtt.OnACLCheck,
		mqtt.OnPublish, mqtt.OnWillSent, mqtt.OnDisconnect,
	}, b) >= 0
}

// OnConnect bounds the keep-alive; clients of MQTT 5 are told.
func (h *hook) OnConnect(client *mqtt.Client, _ packets.Packet) error {
	longest := uint16(h.broker.opts.MaxIdle / time.Second)
	if k := client.State.Keepalive; k == 0 || k > longest {
		client.State.Keepalive, client.State.ServerKeepalive = longest, true
	}
	return nil
}

func (h *hook) OnConnectAuthenticate(client *mqtt.Client, pk packets.Packet) bool {
	b, user := h.broker, string(pk.Connect.Username)
	if !b.opts.Logins.Check(user, string(pk.Connect.Password)) {
		b.wrongLogins.Add(1)
		b.seldom.warn("login "+user, "wrong user name or password", "user", user, "remote", client.Net.Remote)
		return false
	}
	if n := b.connections(user); n >= b.opts.MaxPerLogin {
		b.seldom.warn("crowd "+user, "too many connections with one login; the new one is refused", "login", user, "connections", n)
		return false
	}
	return true
}

// connections counts the live ones of a login.
func (b *Broker) connections(user string) int {
	n := 0
	for _, client := range b.server.Clients.GetAll() {
		if string(client.Properties.Username) == user && !client.Closed() {
			n++
		}
	}
	return n
}

// OnSessionEstablish keeps logins apart: a client id counts within its login,
// so nobody can take over another site's session, and a will obeys the rights
// of its login, unretained like everything here.
func (h *hook) OnSessionEstablish(client *mqtt.Client, _ packets.Packet) {
	user := string(client.Properties.Username)
	client.ID = user + "/" + client.ID
	will := &client.Properties.Will
	if will.Flag != 0 && !h.broker.mayWrite(user, will.TopicName) {
		h.broker.seldom.warn("will "+user, "a last will on a topic its login may not write is ignored", "login", user, "topic", will.TopicName)
		*will = mqtt.Will{}
	}
	will.Retain = false
}

// OnACLCheck lets nobody read. Rights to write are OnPublish's, which puts
// what is refused into quarantine.
func (h *hook) OnACLCheck(_ *mqtt.Client, _ string, write bool) bool { return write }

// OnPublish brings a message to disk before it is acknowledged. The answer to
// a QoS 1 message is written by its link, when the commit is done, so the
// library is told to give none.
func (h *hook) OnPublish(client *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	pk.Ignore, pk.FixedHeader.Retain = true, false
	l := h.broker.link(client)
	m := h.broker.message(client.ID, pk)
	switch pk.FixedHeader.Qos {
	case 0:
		l.take(m, func(a answer) {
			if a.err == nil {
				a.told()
				return
			}
			l.answer(a)
		})
		return pk, nil
	case 1:
		l.take(m, func(a answer) {
			a.id = pk.PacketID
			l.answer(a)
		})
		return pk, packets.ErrRejectPacket
	}
	result := make(chan error, 1)
	l.take(m, func(a answer) {
		a.told()
		result <- a.err
	})
	if err := h.broker.wait(result); err != nil {
		l.answer(answer{err: err, told: func() {}})
		return pk, packets.ErrRejectPacket
	}
	return pk, nil
}

func (b *Broker) message(session string, pk packets.Packet) receive.Message {
	m := receive.Message{Topic: pk.TopicName, Payload: pk.Payload}
	m.Arrived = b.arrivals.First(session, pk.PacketID, pk.FixedHeader.Dup, m, b.opts.Now())
	return m
}

// wait waits for the result, with patience.
func (b *Broker) wait(result <-chan error) error {
	ctx, cancel := context.WithTimeout(b.work, b.opts.Patience)
	defer cancel()
	select {
	case err := <-result:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// OnWillSent treats a last will as what it is, a message; nobody waits for it.
func (h *hook) OnWillSent(client *mqtt.Client, pk packets.Packet) {
	ctx, cancel := context.WithTimeout(h.broker.work, time.Second)
	defer cancel()
	m := receive.Message{Topic: pk.TopicName, Payload: pk.Payload, Arrived: h.broker.opts.Now()}
	if err := h.broker.opts.Intake.Submit(ctx, m, func(error) {}); err != nil {
		h.broker.seldom.warn("will", "a last will was not kept", "login", string(client.Properties.Username), "error", err)
	}
}

func (h *hook) OnDisconnect(client *mqtt.Client, err error, _ bool) {
	b := h.broker
	b.mu.Lock()
	delete(b.links, client)
	b.mu.Unlock()
	if errors.Is(err, packets.ErrPacketTooLarge) {
		user := string(client.Properties.Username)
		b.seldom.warn("size "+user, "a packet larger than allowed: the client is disconnected", "login", user, "largest", b.opts.MaxPacket)
	}
}

// demoted passes a library's log on as debugging output: it logs whole
// packets, and as a warning what a client can cause at will.
type demoted struct{ slog.Handler }

func (d demoted) Enabled(ctx context.Context, _ slog.Level) bool {
	return d.Handler.Enabled(ctx, slog.LevelDebug)
}

func (d demoted) Handle(ctx context.Context, r slog.Record) error {
	r.Level = slog.LevelDebug
	return d.Handler.Handle(ctx, r)
}

func (d demoted) WithAttrs(attrs []slog.Attr) slog.Handler {
	return demoted{d.Handler.WithAttrs(attrs)}
}

func (d demoted) WithGroup(name string) slog.Handler { return demoted{d.Handler.WithGroup(name)} }

package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// newServer sets up the broker library for clients that only write.
func (b *Broker) newServer() error {
	capabilities := mqtt.NewDefaultServerCapabilities()
	capabilities.MaximumClients = int64(b.opts.MaxClients)
	capabilities.MaximumPacketSize = b.opts.MaxPacket
	capabilities.MaximumSessionExpiryInterval = uint32(sessionKept / time.Second)
	capabilities.ReceiveMaximum = uint16(min(b.opts.Window, 1<<16-1))
	capabilities.MaximumClientWritesPending = 16
	capabilities.TopicAliasMaximum = 0 // an alias would be resolved after the check of rights
	capabilities.SharedSubAvailable = 0
	capabilities.WildcardSubAvailable = 0
	capabilities.SubIDAvailable = 0
	b.server = mqtt.New(&mqtt.Options{
		Capabilities:           capabilities,
		Logger:                 slog.New(demoted{b.logger.Handler()}),
		SysTopicResendInterval: int64(24 * time.Hour / time.Second), // nobody can read them
	})
	if err := b.server.AddHook(&hook{broker: b}, nil); err != nil {
		return fmt.Errorf("set up the broker: %w", err)
	}
	if err := b.server.AddListener(listeners.NewNet("mqtt", b.listener)); err != nil {
		return fmt.Errorf("set up the broker: %w", err)
	}
	return nil
}

// Run serves until ctx ends. Then what the intake accepted is acknowledged
// before the connections are closed.
func (b *Broker) Run(ctx context.Context) error {
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	b.work = work
	if err := b.server.Serve(); err != nil {
		return fmt.Errorf("serve MQTT: %w", err)
	}
	b.logger.Info("MQTT broker listens", "address", b.Addr().String(), "tls", b.certificate != nil, "logins", len(b.opts.Logins.Users()))
	refresh := time.NewTicker(refreshEvery)
	defer refresh.Stop()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-refresh.C:
			b.refresh()
		}
	}
	b.settle()
	cancel()
	return errors.Join(b.server.Close(), b.arrivals.Close())
}

// settle takes no more messages and waits for the answers to those taken.
func (b *Broker) settle() {
	b.mu.Lock()
	b.closing = true
	b.mu.Unlock()
	settled := make(chan struct{})
	go func() {
		b.busy.Wait()
		close(settled)
	}()
	select {
	case <-settled:
	case <-time.After(b.opts.Patience):
	}
}

// refresh takes over changed logins and certificates. Clients whose login is
// gone or has another password are disconnected.
func (b *Broker) refresh() {
	changed, err := b.opts.Logins.Reload()
	if err != nil {
		b.seldom.warn("logins", "logins cannot be read again; the former ones hold", "error", err)
	}
	for _, client := range b.server.Clients.GetAll() {
		if !client.Closed() && slices.Contains(changed, string(client.Properties.Username)) {
			client.Stop(packets.ErrNotAuthorized)
		}
	}
	if b.certificate == nil {
		return
	}
	renewed, err := b.certificate.reload()
	if err != nil {
		b.seldom.warn("certificate", "the TLS certificate cannot be read again; the former one is used", "error", err)
	}
	if renewed {
		b.logger.Info("TLS certificate renewed", "file", b.opts.TLSCertFile)
	}
}

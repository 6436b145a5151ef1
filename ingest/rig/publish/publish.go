// Package publish sends a rig's readings as a real plant does: MQTT, QoS 1,
// bare values on a topic per channel or SenML packs, and nothing counts as
// delivered before the broker acknowledged it.
//
// A message whose acknowledgement failed is sent again until it is
// acknowledged or the context ends; so each reading arrives at least once.
package publish

import (
	"context"
	"fmt"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"coldweek/ingest"
)

// Format is how readings are written into messages.
type Format int

const (
	// Bare sends a value alone on coldweek/<site>/<channel>. Its time is that
	// of arrival.
	Bare Format = iota
	// SenML sends packs (RFC 8428) on coldweek/<site>/senml, with times.
	SenML
)

// Options say how to publish.
type Options struct {
	Format   Format
	Batch    int           // SenML: sample times in one message; 0 means 1
	Inflight int           // messages waiting for acknowledgement at once; 0 means 20
	Retry    time.Duration // pause before a message is sent again; 0 means 1 s
}

// Publisher sends readings over one connected client. It is not safe for
// concurrent use.
type Publisher struct {
	client       mqtt.Client
	options      Options
	flights      []flight // oldest first
	batch        []ingest.Reading
	times        int // different times in the batch
	acknowledged int
}

// flight is a message on its way.
type flight struct {
	token    mqtt.Token
	topic    string
	payload  []byte
	readings int
}

// New publishes over the client, whose connection is the caller's business.
func New(client mqtt.Client, o Options) *Publisher {
	if o.Batch <= 0 {
		o.Batch = 1
	}
	if o.Inflight <= 0 {
		o.Inflight = 20
	}
	if o.Retry <= 0 {
		o.Retry = time.Second
	}
	return &Publisher{client: client, options: o}
}

// Acknowledged is how many readings the broker has acknowledged so far.
func (p *Publisher) Acknowledged() int { return p.acknowledged }

// Publish hands readings over in their order. It blocks while the window of
// unacknowledged messages is full; a pack leaves when a reading of the next
// time comes. The error is the context's.
func (p *Publisher) Publish(ctx context.Context, readings ...ingest.Reading) error {
	for _, r := range readings {
		if p.options.Format == Bare {
			if err := p.send(ctx, topic(r.Site, string(r.Channel)), appendBare(nil, r), 1); err != nil {
				return err
			}
			continue
		}
		if err := p.addToPack(ctx, r); err != nil {
			return err
		}
	}
	return nil
}

// Flush sends what is waiting and returns when everything is acknowledged,
// with the number of readings acknowledged so far.
func (p *Publisher) Flush(ctx context.Context) (acknowledged int, err error) {
	if err := p.sendPack(ctx); err != nil {
		return p.acknowledged, err
	}
	for len(p.flights) > 0 {
		if err := p.land(ctx); err != nil {
			return p.acknowledged, err
		}
	}
	return p.acknowledged, nil
}

func topic(site, rest string) string { return "coldweek/" + site + "/" + rest }

// addToPack starts a new pack when the site changes or the batch is full.
func (p *Publisher) addToPack(ctx context.Context, r ingest.Reading) error {
	n := len(p.batch)
	newTime := n == 0 || !p.batch[n-1].Time.Equal(r.Time)
	if n > 0 && (p.batch[n-1].Site != r.Site || newTime && p.times >= p.options.Batch) {
		if err := p.sendPack(ctx); err != nil {
			return err
		}
		newTime = true
	}
	if newTime {
		p.times++
	}
	p.batch = append(p.batch, r)
	return nil
}

func (p *Publisher) sendPack(ctx context.Context) error {
	if len(p.batch) == 0 {
		return nil
	}
	err := p.send(ctx, topic(p.batch[0].Site, "senml"), appendPack(nil, p.batch), len(p.batch))
	p.batch, p.times = p.batch[:0], 0
	return err
}

// send puts a message under way once the window has room.
func (p *Publisher) send(ctx context.Context, topic string, payload []byte, readings int) error {
	for len(p.flights) >= p.options.Inflight {
		if err := p.land(ctx); err != nil {
			return err
		}
	}
	p.flights = append(p.flights, flight{p.client.Publish(topic, 1, false, payload), topic, payload, readings})
	return nil
}

// land waits for the oldest message, and sends it again when it failed.
func (p *Publisher) land(ctx context.Context) error {
	f := &p.flights[0]
	for {
		select {
		case <-f.token.Done():
		case <-ctx.Done():
			return fmt.Errorf("wait for acknowledgement on %q: %w", f.topic, context.Cause(ctx))
		}
		if f.token.Error() == nil {
			break
		}
		if err := pause(ctx, p.options.Retry); err != nil {
			return fmt.Errorf("publish on %q: %w, after: %w", f.topic, err, f.token.Error())
		}
		f.token = p.client.Publish(f.topic, 1, false, f.payload)
	}
	p.acknowledged += f.readings
	p.flights = append(p.flights[:0], p.flights[1:]...)
	return nil
}

func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

package deliver

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Broker is where findings are published.
type Broker struct {
	URL          string // tcp://, ssl://, ws:// or wss://HOST:PORT
	Username     string
	PasswordFile string // its first line
	CAFile       string // PEM; the system's authorities when empty
}

// secureTransports are the schemes of a broker's address, and which of them TLS
// is.
var secureTransports = map[string]bool{
	"tcp": false, "mqtt": false, "ws": false, "ssl": true, "tls": true, "mqtts": true, "wss": true,
}

// Check says what is wrong with the settings.
func (b Broker) Check() error {
	u, err := url.Parse(b.URL)
	switch {
	case b.URL == "":
		return errors.New("url is missing; write tcp://HOST:1883 or ssl://HOST:8883")
	case err != nil:
		return fmt.Errorf("url: %w", err)
	}
	secure, known := secureTransports[u.Scheme]
	switch {
	case !known || u.Host == "":
		return fmt.Errorf("url: %q is no address of a broker; write tcp://HOST:1883 or ssl://HOST:8883", u.Redacted())
	case u.User != nil:
		return fmt.Errorf("url: %s holds a login; give username and password_file", u.Redacted())
	case b.PasswordFile != "" && b.Username == "":
		return errors.New("password_file needs a username")
	case b.CAFile != "" && !secure:
		return fmt.Errorf("ca_file is of no use with %s://; write ssl:// or wss://", u.Scheme)
	}
	if _, err := secret("broker password", b.PasswordFile); err != nil {
		return err
	}
	_, err = secured(u.Hostname(), b.CAFile)
	return err
}

// CheckTopic says what is wrong with a topic that levels will be added to.
func CheckTopic(topic string) error {
	if topic == "" || strings.ContainsAny(topic, "+#\x00") || strings.HasPrefix(topic, "/") || strings.HasSuffix(topic, "/") || strings.HasPrefix(topic, "$") {
		return fmt.Errorf("topic %q: write one such as firm/findings, without wildcards, and without a slash at its ends", topic)
	}
	return nil
}

// Publisher is a connection to the broker.
type Publisher struct {
	client mqtt.Client
	lost   chan error
}

// Connect reaches the broker and logs in under a client id; a second connection
// under the same one ends the first.
func (b Broker) Connect(ctx context.Context, clientID string) (*Publisher, error) {
	u, err := url.Parse(b.URL)
	if err != nil {
		return nil, err
	}
	config, err := secured(u.Hostname(), b.CAFile)
	if err != nil {
		return nil, err
	}
	password, err := secret("broker password", b.PasswordFile)
	if err != nil {
		return nil, err
	}
	lost := make(chan error, 1)
	client := mqtt.NewClient(mqtt.NewClientOptions().
		AddBroker(b.URL).SetProtocolVersion(4).SetClientID(clientID).SetCleanSession(true).
		SetUsername(b.Username).SetPassword(password).SetTLSConfig(config).
		SetAutoReconnect(false).SetConnectTimeout(patience).SetWriteTimeout(patience).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err }))
	p := &Publisher{client, lost}
	if err := p.await(ctx, client.Connect()); err != nil {
		client.Disconnect(0)
		return nil, fail(All, "connect to broker %s: %w", u.Redacted(), err)
	}
	return p, nil
}

// Publish sends a message with QoS 1; when it returns nil, the broker has
// acknowledged it. A broker that speaks MQTT 3.1.1 acknowledges also what its
// access list forbids. An empty payload clears a retained message.
func (p *Publisher) Publish(ctx context.Context, topic string, retained bool, payload []byte) error {
	if err := p.await(ctx, p.client.Publish(topic, 1, retained, payload)); err != nil {
		return fail(All, "publish to %q: %w", topic, err)
	}
	return nil
}

func (p *Publisher) await(ctx context.Context, token mqtt.Token) error {
	limit := time.NewTimer(patience)
	defer limit.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case err := <-p.lost:
		return fmt.Errorf("connection lost: %w", err)
	case <-ctx.Done():
		return ctx.Err()
	case <-limit.C:
		return fmt.Errorf("no answer within %v", patience)
	}
}

// Close ends the connection.
func (p *Publisher) Close() { p.client.Disconnect(250) }

package broker_test

import (
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// dialer opens connections that a test can cut, or make deaf to everything
// after the CONNACK.
type dialer struct {
	deafen atomic.Bool

	mu   sync.Mutex
	conn net.Conn
}

func (d *dialer) open(address *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
	conn, err := net.Dial("tcp", address.Host)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.conn = conn
	return &hearing{Conn: conn, dialer: d}, nil
}

// cut breaks the connection; to the client it looks like a network error, as
// closing it here would not.
func (d *dialer) cut() {
	d.mu.Lock()
	defer d.mu.Unlock()
	_ = d.conn.SetDeadline(time.Unix(1, 0))
}

const connackBytes = 4 // MQTT 3.1.1, 3.2

type hearing struct {
	net.Conn
	dialer *dialer
	heard  int
}

func (h *hearing) Read(p []byte) (int, error) {
	for {
		n, err := h.Conn.Read(p)
		h.heard += n
		if err != nil || h.heard <= connackBytes || !h.dialer.deafen.Load() {
			return n, err
		}
	}
}

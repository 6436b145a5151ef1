package broker

import (
	"errors"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

const (
	// connectWithin is how long a connection may take to say who it is, TLS
	// handshake included.
	connectWithin = 10 * time.Second
	// acceptPause is waited after an error such as too many open files.
	acceptPause = 100 * time.Millisecond
)

// gate is a listener that turns connections away beyond a number, gives each
// a deadline for its first packet, and outlives passing errors of Accept, at
// which the broker library would stop to listen.
type gate struct {
	net.Listener
	logger *slog.Logger
	most   int64
	within time.Duration // for the first packet
	open   atomic.Int64
}

func (g *gate) Accept() (net.Conn, error) {
	for {
		conn, err := g.Listener.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil, err
		}
		if err != nil {
			g.logger.Error("accept a connection", "error", err)
			time.Sleep(acceptPause)
			continue
		}
		if g.open.Add(1) > g.most || conn.SetDeadline(time.Now().Add(g.within)) != nil {
			g.open.Add(-1)
			_ = conn.Close()
			continue
		}
		return &guest{Conn: conn, leave: sync.OnceFunc(func() { g.open.Add(-1) })}, nil
	}
}

// guest tells the gate when it closes.
type guest struct {
	net.Conn
	leave func()
}

func (g *guest) Close() error {
	g.leave()
	return g.Conn.Close()
}

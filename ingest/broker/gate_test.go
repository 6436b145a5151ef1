package broker

import (
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scarce is a listener that fails once, as with too many open files.
type scarce struct {
	net.Listener
	failed bool
}

func (s *scarce) Accept() (net.Conn, error) {
	if !s.failed {
		s.failed = true
		return nil, errors.New("too many open files")
	}
	return s.Listener.Accept()
}

func TestGate(t *testing.T) {
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	g := &gate{Listener: &scarce{Listener: inner}, logger: slog.New(slog.DiscardHandler), most: 2, within: 10 * time.Millisecond}
	dial := func() net.Conn {
		conn, err := net.Dial("tcp", inner.Addr().String())
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
	dial()
	first, err := g.Accept()
	require.NoError(t, err, "after the error")
	_, err = first.Read(make([]byte, 1))
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded, "a client that says nothing")

	dial()
	_, err = g.Accept()
	require.NoError(t, err)
	turnedAway := dial()
	accepted := make(chan error, 1)
	go func() { _, err := g.Accept(); accepted <- err }()
	_, err = turnedAway.Read(make([]byte, 1))
	assert.ErrorIs(t, err, io.EOF, "the third is closed")
	require.NoError(t, first.Close())
	_ = first.Close() // counts once
	dial()
	assert.NoError(t, <-accepted, "until another leaves")

	require.NoError(t, g.Close())
	_, err = g.Accept()
	assert.ErrorIs(t, err, net.ErrClosed)
}
